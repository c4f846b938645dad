"""Printed documents and the public check: fetch, ask, render."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access
from registry.ledger import here
from registry.people.models import Account
from registry.retention.data_request import data_request_zip
from registry.transcripts.crew_sheet import print_crew_sheet
from registry.transcripts.issuing import certificate_standings, issue_transcript, transcript_standing
from registry.transcripts.models import IssuedTranscript
from registry.transcripts.printing import PAPERS
from registry.transcripts.refusal_notice import print_refusal_notice
from registry.transcripts.signing import sign
from registry.web.papers.forms import CheckForm, PrintForm
from registry.web.views import download, page, posted, status_of


@page
@require_http_methods(["GET", "POST"])
def transcript(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    worker = get_object_or_404(access.visible_workers(account), pk=worker_id)
    form = PrintForm(posted(request), initial={"language": get_language() or "en"})
    if form.is_valid():
        now = timezone.now()
        given = issue_transcript(
            worker=worker,
            at=now,
            issued_by=account,
            base=request.build_absolute_uri("/"),
            checkpoint=here.sign(at=now),
            known_at=access.reading_ends(account, worker.pk),
            **form.cleaned_data,
        )
        return _pdf(given.pdf, f"transcript-{worker.number}.pdf")
    issued = access.readable(account, IssuedTranscript.objects.filter(worker=worker)).order_by("-recorded_at")[:20]
    return render(
        request, "papers/transcript.html", {"worker": worker, "form": form, "issued": issued}, status=status_of(form)
    )


@page
@require_POST
def own_data(request: HttpRequest, *, account: Account) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only the worker downloads this."))
    packed = data_request_zip(worker, at=timezone.now())
    return download(packed, f"everything-about-{worker.number}.zip", "application/zip")


@page
@require_GET
def crew_sheet(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = get_object_or_404(access.visible_jobs(account), pk=job_id)
    access.require_sees_whole_crew(account)
    now = timezone.now()
    printed = print_crew_sheet(job, printed_at=now, language=get_language() or "en", paper=_paper(request))
    return _pdf(sign(printed, signed_at=now), f"crew-sheet-{job.pk}.pdf")


@page
@require_GET
def refusal_notice(request: HttpRequest, *, account: Account, decision_id: int) -> HttpResponse:
    refused = access.visible_decisions(account).filter(outcome="refused")
    decision = get_object_or_404(refused.select_related("worker", "model__maker", "employer"), pk=decision_id)
    now = timezone.now()
    printed = print_refusal_notice(decision, printed_at=now, language=get_language() or "en", paper=_paper(request))
    return _pdf(sign(printed, signed_at=now), f"refusal-{decision.pk}.pdf")


@never_cache
@require_http_methods(["GET", "POST"])
def check(request: HttpRequest, code: str = "") -> HttpResponse:
    """For everybody: whether a transcript or certificate is genuine and current, and nothing about the person."""
    asked: Any = None
    if request.method == "POST":
        asked = request.POST
    elif code or "number" in request.GET:
        asked = {"number": code or request.GET["number"]}
    form = CheckForm(asked, request.FILES or None)
    shown: dict[str, Any] = {"form": form, "asked": form.is_valid()}
    if form.is_valid():
        file, number = form.cleaned_data["file"], form.cleaned_data["number"]
        shown["transcript"] = transcript_standing(number, file=None if file is None else file.read())
        shown["certificates"] = certificate_standings(number, at=timezone.now())
    return render(request, "papers/check.html", shown, status=status_of(form))


def _paper(request: HttpRequest) -> str:
    wanted = request.GET.get("paper", "")
    return wanted if wanted in PAPERS else "A4"


def _pdf(content: bytes, name: str) -> HttpResponse:
    return download(content, name, "application/pdf")
