"""A job's notice: fetch, call one service, render."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access
from registry.crews.models import Job
from registry.engine.render import CAUTION
from registry.notices import services
from registry.notices.document import print_notice
from registry.notices.files import rule_by_version
from registry.notices.models import AttachedProcedure, JobParty
from registry.notices.packet import packet_of
from registry.notices.queries import Sent, history_of, plans_of
from registry.notices.visibility import visible_job
from registry.people.models import Account
from registry.transcripts.printing import PAPERS
from registry.transcripts.signing import sign
from registry.web.forms import refused_beside_fields
from registry.web.notices.forms import ParticularsForm, PartyForm, ProcedureForm, SentForm
from registry.web.notices.page import NoticePage
from registry.web.views import download, page, posted, status_of


@page
@require_GET
def notice(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = visible_job(account, job_id)
    may_record = account.kind == "employer" and account.employer_id == job.employer_id
    shown = NoticePage(packet_of(job, at=timezone.now()), may_record)
    return render(request, "notices/notice.html", {"page": shown, "job": job, "caution": CAUTION})


@page
@require_GET
def notice_pdf(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job, now = visible_job(account, job_id), timezone.now()
    packet = packet_of(job, at=now)
    printed = print_notice(
        packet.content,
        rule=packet.rule,
        missing=packet.missing,
        printed_at=now,
        sent_at=packet.sent_as_it_is,
        **_sheet(request),
    )
    return download(sign(printed, signed_at=now), f"notice-{job.pk}.pdf", "application/pdf")


@page
@require_GET
def notice_json(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = visible_job(account, job_id)
    packet = packet_of(job, at=timezone.now())
    return download(packet.text.encode(), f"notice-{job.pk}.json", "application/json")


@page
@require_http_methods(["GET", "POST"])
def particulars(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job, now = _own_job(account, job_id), timezone.now()
    known = packet_of(job, at=now).records.particulars
    names = ("site_address", "scope", "configuration")
    form = ParticularsForm(posted(request), initial={each: getattr(known, each, "") for each in names})
    if form.is_valid():
        with refused_beside_fields(form):
            services.record_particulars(job=job, recorded_at=now, recorded_by=account, **form.cleaned_data)
            return redirect("notice", job_id=job.pk)
    return _form(request, job, form, _("Particulars of the notice"))


@page
@require_http_methods(["GET", "POST"])
def party(request: HttpRequest, *, account: Account, job_id: int, party_id: int | None = None) -> HttpResponse:
    job = _own_job(account, job_id)
    known = None if party_id is None else get_object_or_404(_current(JobParty, job), pk=party_id)
    names = ("role", "name", "contact_person", "phone", "email", "address")
    start = {"name": job.employer.name, "role": "employer"} if "employer" in request.GET else {}
    form = PartyForm(
        posted(request), initial=start if known is None else {each: getattr(known, each) for each in names}
    )
    if form.is_valid():
        with refused_beside_fields(form):
            services.record_party(
                job=job, supersedes=known, recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data
            )
            return redirect("notice", job_id=job.pk)
    return _form(request, job, form, _("A party to the job") if known is None else _("Correct a party"))


@page
@require_POST
def remove_party(request: HttpRequest, *, account: Account, job_id: int, party_id: int) -> HttpResponse:
    job = _own_job(account, job_id)
    known = get_object_or_404(_current(JobParty, job), pk=party_id)
    services.withdraw(known, job=job, recorded_at=timezone.now(), recorded_by=account)
    return redirect("notice", job_id=job.pk)


@page
@require_http_methods(["GET", "POST"])
def procedure(request: HttpRequest, *, account: Account, job_id: int, procedure_id: int | None = None) -> HttpResponse:
    job, now = _own_job(account, job_id), timezone.now()
    known = None if procedure_id is None else get_object_or_404(_current(AttachedProcedure, job), pk=procedure_id)
    form = ProcedureForm(
        posted(request),
        request.FILES if request.method == "POST" else None,
        account=account,
        initial={} if known is None else {"title": known.title},
    )
    document = form.keep_scan(now)
    if form.is_valid() and document is not None:
        with refused_beside_fields(form):
            services.attach_procedure(
                job=job,
                title=form.cleaned_data["title"],
                document=document,
                supersedes=known,
                recorded_at=now,
                recorded_by=account,
            )
            return redirect("notice", job_id=job.pk)
    return _form(
        request, job, form, _("A work procedure for this site") if known is None else _("Replace a work procedure")
    )


@page
@require_POST
def remove_procedure(request: HttpRequest, *, account: Account, job_id: int, procedure_id: int) -> HttpResponse:
    job = _own_job(account, job_id)
    known = get_object_or_404(_current(AttachedProcedure, job), pk=procedure_id)
    services.withdraw(known, job=job, recorded_at=timezone.now(), recorded_by=account)
    return redirect("notice", job_id=job.pk)


@page
@require_GET
def procedure_file(request: HttpRequest, *, account: Account, job_id: int, procedure_id: int) -> HttpResponse:
    """A procedure to save, never to open within the page's origin; replaced ones too, as they were notified."""
    job = visible_job(account, job_id)
    attached = AttachedProcedure.objects.filter(job__in=plans_of(job)).select_related("document")
    found = get_object_or_404(attached, pk=procedure_id).document
    return download(bytes(found.content), found.name, found.media_type)


@page
@require_http_methods(["GET", "POST"])
def sent(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job, now = _own_job(account, job_id), timezone.now()
    packet = packet_of(job, at=now)
    form = SentForm(
        posted(request),
        job=job,
        initial={
            "seen": packet.fingerprint,
            "sent_at": now.astimezone(ZoneInfo(job.site.time_zone)).replace(tzinfo=None),
        },
    )
    if form.is_valid():
        with refused_beside_fields(form):
            services.record_sent(job=job, recorded_at=now, recorded_by=account, **form.cleaned_data)
            return redirect("notice", job_id=job.pk)
    return _form(request, job, form, _("Record that the notice was sent"), notice=NoticePage(packet, may_record=True))


@page
@require_POST
def not_sent(request: HttpRequest, *, account: Account, job_id: int, number: int) -> HttpResponse:
    job = _own_job(account, job_id)
    services.withdraw(_sent_notice(job, number).notice, job=job, recorded_at=timezone.now(), recorded_by=account)
    return redirect("notice", job_id=job.pk)


@page
@require_GET
def sent_pdf(request: HttpRequest, *, account: Account, job_id: int, number: int) -> HttpResponse:
    job, now = visible_job(account, job_id), timezone.now()
    found = _sent_notice(job, number)
    printed = print_notice(
        found.content,
        rule=rule_by_version(found.notice.rule_key, found.notice.rule_version),
        missing=(),
        printed_at=now,
        sent_at=found.notice.sent_at,
        **_sheet(request),
    )
    return download(sign(printed, signed_at=now), f"notice-{job.pk}-sent-{number}.pdf", "application/pdf")


@page
@require_GET
def sent_json(request: HttpRequest, *, account: Account, job_id: int, number: int) -> HttpResponse:
    job = visible_job(account, job_id)
    found = _sent_notice(job, number)
    return download(found.notice.content.encode(), f"notice-{job.pk}-sent-{number}.json", "application/json")


def _own_job(account: Account, job_id: int) -> Job:
    job = visible_job(account, job_id)
    access.require_may_assign(account, job)
    return job


def _current(model: type[Any], job: Job) -> Any:
    return model.objects.current().filter(job__in=plans_of(job))


def _sent_notice(job: Job, number: int) -> Sent:
    found = next((each for each in history_of(plans_of(job)) if each.number == number), None)
    if found is None:
        raise Http404
    return found


def _form(request: HttpRequest, job: Job, form: Any, title: str, **more: Any) -> HttpResponse:
    shown = {"job": job, "form": form, "title": title, **more}
    return render(request, "notices/form.html", shown, status=status_of(form))


def _sheet(request: HttpRequest) -> dict[str, str]:
    wanted = request.GET.get("paper", "")
    return {"language": get_language() or "en", "paper": wanted if wanted in PAPERS else "Letter"}
