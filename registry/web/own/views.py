"""The worker's own pages and what a shared link shows: fetch, ask, render."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from zoneinfo import ZoneInfo

from allauth.core.internal import ratelimit
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access
from registry.crews.described import DescribedAnswer
from registry.crews.wanted import askable_worker, what_is_missing
from registry.engine.calendar import local_date
from registry.engine.render import CAUTION
from registry.evidence import corrections
from registry.evidence.running_out import zone_of
from registry.ledger import here
from registry.ledger.memory import CannotSign
from registry.people import consent
from registry.people.models import Account, Employment
from registry.transcripts import sharing as shares
from registry.transcripts.issuing import issue_transcript
from registry.web.forms import refused_beside_fields
from registry.web.limits import within_limit
from registry.web.own.forms import EmployerCodeForm, LeavingForm, ShareForm, WantedRoleForm
from registry.web.own.own_page import own_page_of
from registry.web.own.shared_page import shared_page_of
from registry.web.papers.forms import PrintForm
from registry.web.pictures import qr_picture
from registry.web.views import download, page, posted, status_of

MOST_LINKS = 50


@page
@require_GET
def own(request: HttpRequest, *, account: Account) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only a worker has a page of their own."))
    return render(request, "worker/own.html", {"page": own_page_of(worker, now=timezone.now())})


@page
@require_GET
def wanted_role(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    now = timezone.now()
    worker = askable_worker(account, worker_id, at=now)
    today = local_date(now, ZoneInfo(zone_of(worker)))
    form = WantedRoleForm(request.GET if "role" in request.GET else None, account=account, worker=worker, today=today)
    shown: dict[str, Any] = {"form": form, "worker": worker, "caution": CAUTION}
    if form.is_valid():
        with refused_beside_fields(form):
            found = what_is_missing(worker=worker, **form.asked())
            shown |= {"asked": found, "answer": DescribedAnswer(found.answered.answer.as_json())}
    return render(request, "worker/wanted_role.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def employers(request: HttpRequest, *, account: Account) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only a worker answers employers here."))
    now = timezone.now()
    form = EmployerCodeForm(posted(request))
    shown: dict[str, Any] = {}
    if form.is_valid():
        with refused_beside_fields(form):
            shown["code"] = consent.make_code(worker=worker, at=now, made_by=account, **form.cleaned_data)
            form = EmployerCodeForm()
    shown |= {
        "form": form,
        "requests": consent.open_requests_of(worker, at=now),
        "codes": consent.codes_of(worker, at=now),
        "today": now.date(),
        "employments": Employment.objects.current().filter(worker=worker).select_related("employer").order_by("-start"),
    }
    return render(request, "worker/employers.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def leave_employer(request: HttpRequest, *, account: Account, employment_id: int) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only the worker leaves an employer here."))
    employments = Employment.objects.current().filter(worker=worker).select_related("employer", "worker")
    employment = get_object_or_404(employments, pk=employment_id)
    form = LeavingForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            corrections.leave_employer(
                employment=employment, recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data
            )
            sentence = _("After that day %(employer)s no longer reads what is recorded about you.")
            messages.success(request, sentence % {"employer": employment.employer})
            return redirect("own_employers")
    return render(request, "worker/leave.html", {"form": form, "employment": employment}, status=status_of(form))


@page
@require_POST
def answer_employer(request: HttpRequest, *, account: Account, request_id: int) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only a worker answers employers here."))
    asked = get_object_or_404(worker.employment_requests.select_related("employer", "worker"), pk=request_id)
    answer: dict[str, Any] = {"request": asked, "recorded_at": timezone.now(), "recorded_by": account}
    if request.POST.get("do") == "accept":
        consent.accept(**answer)
        messages.success(request, _("You are on the books of %(employer)s.") % {"employer": asked.employer})
    elif request.POST.get("do") == "decline":
        consent.decline(**answer)
        messages.success(request, _("Declined. The employer is not told."))
    return redirect("own_employers")


@page
@require_http_methods(["GET", "POST"])
def sharing(request: HttpRequest, *, account: Account) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only the worker shares their own record."))
    now = timezone.now()
    form = ShareForm(posted(request))
    shown: dict[str, Any] = {"now": now}
    if form.is_valid():
        with refused_beside_fields(form):
            made = shares.share(worker=worker, at=now, shared_by=account, **form.cleaned_data)
            address = request.build_absolute_uri(reverse("shared_record", kwargs={"token": made.token}))
            shown |= {"made": made.link, "address": address, "picture": qr_picture(address)}
            form = ShareForm()
    shown |= {"form": form, "links": shares.links_of(worker)[:MOST_LINKS]}
    return render(request, "worker/sharing.html", shown, status=status_of(form))


@page
@require_POST
def end_shared_link(request: HttpRequest, *, account: Account, link_id: int) -> HttpResponse:
    worker = access.own_worker(account, otherwise=_("Only the worker shares their own record."))
    link = get_object_or_404(shares.links_of(worker), pk=link_id)
    shares.end_link(link=link, at=timezone.now(), ended_by=account)
    return redirect("sharing")


# What a shared link shows, without an account


def shared(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A page behind a shared link: kept nowhere, found by no search engine, told to no other site.

    A link that opens nothing is a page that says nothing about anybody, and too
    many wrong ones from one address are refused before they are looked up.
    """

    @wraps(view)
    def guarded(request: HttpRequest, token: str) -> HttpResponse:
        response = _answered(view, request, token)
        response.headers["Cache-Control"] = "no-store, private"
        # No other site learns the address; without any the registry would refuse its own forms on the page.
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        return response

    return guarded


def _answered(view: Callable[..., HttpResponse], request: HttpRequest, token: str) -> HttpResponse:
    if not within_limit(request, "wrong_shared_link", dry_run=True):
        return ratelimit.respond_429(request)
    try:
        return view(request, token)
    except shares.LinkClosed:
        within_limit(request, "wrong_shared_link")
        return render(request, "worker/link_closed.html", status=410)
    except CannotSign as error:
        return render(request, "registry/problem.html", {"message": str(error)}, status=503)


@shared
@require_GET
def shared_record(request: HttpRequest, token: str) -> HttpResponse:
    now = timezone.now()
    link = shares.look_through(token=token, what=shares.RECORD, at=now, looked_by=_signed_in(request))
    shown = {
        "link": link,
        "token": token,
        "record": shared_page_of(link.worker, now=now),
        "form": PrintForm(initial={"language": get_language() or "en"}),
        "caution": CAUTION,
    }
    return render(request, "worker/shared.html", shown)


@shared
@require_GET
def shared_transcript(request: HttpRequest, token: str) -> HttpResponse:
    form = PrintForm(request.GET)
    if not form.is_valid():
        return redirect("shared_record", token=token)
    if not within_limit(request, "shared_transcript"):
        return ratelimit.respond_429(request)
    now = timezone.now()
    looked_by = _signed_in(request)
    link = shares.look_through(token=token, what=shares.TRANSCRIPT, at=now, looked_by=looked_by)
    given = issue_transcript(
        worker=link.worker,
        at=now,
        issued_by=looked_by,
        base=request.build_absolute_uri("/"),
        checkpoint=here.sign(at=now),
        **form.cleaned_data,
    )
    return download(given.pdf, f"transcript-{link.worker.number}.pdf", "application/pdf")


def _signed_in(request: HttpRequest) -> Account | None:
    return request.user if request.user.is_authenticated else None
