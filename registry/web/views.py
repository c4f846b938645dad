"""Pages: fetch through queries and access, call one service, render. The clock is read here and nowhere deeper."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from typing import Any, cast

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.csrf import csrf_failure
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access, services
from registry.crews.board import Week, board_of, today_for, week_of_next_job
from registry.crews.candidates import candidates_for
from registry.crews.described import DescribedDecision
from registry.crews.models import Assignment, Job
from registry.crews.outlook import coverage_of_roles, people_employed
from registry.crews.queries import latest_of
from registry.database.errors import RecordRefused
from registry.engine.bad_input import BadInput
from registry.engine.render import CAUTION
from registry.evidence.running_out import running_out_by_month
from registry.ledger.memory import CannotSign
from registry.people.models import Account
from registry.web.forms import (
    CallOffForm,
    EndForm,
    FillForm,
    FromForm,
    PlanForm,
    SubstituteForm,
    WindowForm,
    people_named,
    planned_before,
    refused_beside_fields,
    searched,
)
from registry.web.job_page import crew_for, readiness_of
from registry.web.people_page import month_bars, people_list
from registry.web.worker_page import record_of
from registry.web.year_strip import coming_year

View = Callable[..., HttpResponse]


def page(view: View) -> View:
    """A page for people who are signed in; what they may not do, or what cannot be asked, is a clear page."""

    @wraps(view)
    def guarded(request: HttpRequest, **given: Any) -> HttpResponse:
        try:
            return view(request, account=cast(Account, request.user), **given)
        except Http404:
            if in_place(request):
                # What was asked for went meanwhile: the open page is loaded anew, and shows what there is now.
                return _loaded_anew()
            raise
        except access.NotAllowed as error:
            return _problem(request, str(error), status=403)
        except BadInput as error:
            return _problem(request, error.message, status=400)
        except RecordRefused as error:
            return _problem(request, str(error), status=409)
        except CannotSign as error:
            return _problem(request, str(error), status=503)

    signed_in = login_required(guarded)

    @wraps(view)
    def in_session(request: HttpRequest, **given: Any) -> HttpResponse:
        if in_place(request) and not request.user.is_authenticated:
            # Loaded anew, the page itself leads to the sign-in page and back.
            return _loaded_anew()
        return signed_in(request, **given)

    return cast(View, never_cache(in_session))


def in_place(request: HttpRequest) -> bool:
    """Whether a part of a page is asked for, to be put into the page that is open."""
    return request.headers.get("HX-Request") == "true"


def form_is_of_another_session(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that was opened before somebody signed in anew: asked in place, the open page is loaded anew."""
    return _loaded_anew() if in_place(request) else csrf_failure(request, reason)


def _loaded_anew() -> HttpResponse:
    return HttpResponse(status=204, headers={"HX-Refresh": "true"})


def _problem(request: HttpRequest, message: str, *, status: int) -> HttpResponse:
    shown = {"message": message}
    if not in_place(request):
        return render(request, "registry/problem.html", shown, status=status)
    response = render(request, "registry/problem_in_place.html", shown, status=status)
    return _instead_of_target(response, target="#said", swap="innerHTML", select=".error")


def _instead_of_target(response: HttpResponse, *, target: str, swap: str, select: str) -> HttpResponse:
    """Put the answer somewhere else in the open page than where it was asked for."""
    for name, value in (("HX-Retarget", target), ("HX-Reswap", swap), ("HX-Reselect", select)):
        response.headers[name] = value
    return response


@page
@require_GET
def home(request: HttpRequest, *, account: Account) -> HttpResponse:
    if account.kind == "employer":
        return _board(request, account)
    if account.kind == "worker":
        return redirect("own")
    if account.kind == "registrar":
        return render(request, "registry/registrar.html")
    return _list_of_jobs(request, account)


@page
@require_GET
def jobs(request: HttpRequest, *, account: Account) -> HttpResponse:
    if account.kind == "inspector":
        # It is their home, where the look at it is recorded.
        return redirect("home")
    return _list_of_jobs(request, account)


def _list_of_jobs(request: HttpRequest, account: Account) -> HttpResponse:
    shown = Paginator(access.visible_jobs(account), 20).get_page(request.GET.get("page"))
    return render(request, "registry/home.html", {"page": shown, "jobs": readiness_of(list(shown))})


def _board(request: HttpRequest, account: Account) -> HttpResponse:
    now = timezone.now()
    own_jobs = access.visible_jobs(account)
    today = today_for(own_jobs, at=now)
    written = request.GET.get("week", "").strip()
    this_week = Week.of(today)
    week = Week.read(written) or this_week
    board = board_of(own_jobs, week=week, at=now)
    next_week = None if board.lines else week_of_next_job(own_jobs, after=week)
    if next_week and not written:
        # Nothing is on this week: the page opens where the work is.
        board, next_week = board_of(own_jobs, week=next_week, at=now), None
    shown = {
        "board": board,
        "this_week": this_week,
        "next_week": next_week,
        "today": today,
        "not_a_week": written if written and Week.read(written) is None else "",
        "caution": CAUTION,
    }
    return render(request, "registry/board.html", shown)


@page
@require_http_methods(["GET", "POST"])
def plan_job(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer = access.employer_of(account)
    form = PlanForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            planned = services.plan_job(
                employer=employer, recorded_at=timezone.now(), recorded_by=account, **form.planned()
            )
            return redirect("job", job_id=planned.pk)
    return render(request, "registry/plan_job.html", {"form": form}, status=status_of(form))


@page
@require_GET
def founding(request: HttpRequest, *, account: Account) -> HttpResponse:
    acts = Paginator(access.founding_appointments(account), 50).get_page(request.GET.get("page"))
    return render(request, "registry/founding.html", {"page": acts})


@page
@require_GET
def job(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    found = get_object_or_404(access.visible_plans(account), pk=job_id)
    latest = latest_of(found)
    if latest.pk != found.pk or found.withdrawn:
        return _loaded_anew() if in_place(request) else _plan_no_longer(request, account, found, latest)
    # Whoever closes what opened at a place goes on from there by the keyboard.
    closed = number_in(request.GET.get("closed"), 0)
    shown = {"crew": crew_for(account, found), "closed": closed, "caution": CAUTION}
    return render(request, "registry/crew.html" if in_place(request) else "registry/job.html", shown)


def _plan_no_longer(request: HttpRequest, account: Account, job: Job, latest: Job) -> HttpResponse:
    shown = {"job": job, "latest": latest, "reachable": access.visible_jobs(account).filter(pk=latest.pk).exists()}
    return render(request, "registry/plan_no_longer.html", shown)


def _own_plan(account: Account, job_id: int) -> Job:
    job = get_object_or_404(access.visible_plans(account), pk=job_id)
    access.require_may_assign(account, job)
    return job


@page
@require_http_methods(["GET", "POST"])
def change_plan(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = _own_plan(account, job_id)
    if latest_of(job).pk != job.pk or job.withdrawn:
        # It changed meanwhile, in another tab perhaps; its page says so.
        return redirect("job", job_id=job_id)
    form = PlanForm(posted(request), initial=planned_before(job))
    if form.is_valid():
        with refused_beside_fields(form):
            changed = services.change_plan(job=job, recorded_at=timezone.now(), recorded_by=account, **form.planned())
            standing = len(changed.standing)
            if standing:
                said = ngettext(
                    "%(standing)d place is filled again.", "%(standing)d places are filled again.", standing
                )
                messages.success(request, said % {"standing": standing})
            for state, why in changed.left_out:
                place = {"name": state.worker, "role": state.slot.get_role_display(), "why": why}
                messages.warning(request, _("Not on the new plan: %(name)s as %(role)s. %(why)s") % place)
            return redirect("job", job_id=changed.job.pk)
    return render(request, "registry/plan_job.html", {"form": form, "job": job}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def call_off(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = _own_plan(account, job_id)
    if latest_of(job).pk != job.pk or job.withdrawn:
        # It changed meanwhile, in another tab perhaps; its page says so.
        return redirect("job", job_id=job_id)
    form = CallOffForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            services.call_off(
                job=job, reason=form.cleaned_data["reason"], recorded_at=timezone.now(), recorded_by=account
            )
            return redirect("job", job_id=job.pk)
    return render(request, "registry/call_off.html", {"form": form, "job": job}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def fill_slot(request: HttpRequest, *, account: Account, slot_id: int) -> HttpResponse:
    slots = access.visible_slots(account).select_related("job__site", "job__crane__model__maker")
    slot = get_object_or_404(slots, pk=slot_id)
    access.require_may_assign(account, slot.job)
    form = FillForm(posted(request), slot=slot, initial=request.GET.dict(), auto_id=f"place-{slot.pk}-%s")
    if not _only_looking(request, form) and form.is_valid():
        with refused_beside_fields(form):
            outcome = services.assign(slot_id=slot.pk, assigned_at=timezone.now(), assigned_by=account, **form.asked())
            return redirect("decision", decision_id=outcome.decision.pk)
    start, end = WindowForm(request.POST or request.GET, job=slot.job).window()
    query = searched(request)
    shown = {
        "slot": slot,
        "form": form,
        "query": query,
        "start": start,
        "end": end,
        "candidates": candidates_for(slot, start=start, end=end, query=query),
        "in_place": in_place(request),
        "caution": CAUTION,
    }
    if not in_place(request):
        return render(request, "registry/fill_slot.html", shown, status=status_of(form))
    response = render(request, "registry/filling.html", shown, status=status_of(form))
    if request.method == "POST":
        filling = f"#filling-{slot.pk}"
        return _instead_of_target(response, target=filling, swap="outerHTML", select=filling)
    return response


def _only_looking(request: HttpRequest, form: Any) -> bool:
    """Whether people are to be listed for the time that was typed, and nobody is to be put into the place yet."""
    if "look" in request.POST:
        form.errors.pop("worker", None)
        return True
    return False


@page
@require_http_methods(["GET", "POST"])
def end_assignment(request: HttpRequest, *, account: Account, assignment_id: int) -> HttpResponse:
    assignment = _own_assignment(account, assignment_id)
    form = EndForm(posted(request), job=assignment.slot.job)
    if form.is_valid():
        with refused_beside_fields(form):
            now = timezone.now()
            services.end_assignment(
                assignment=assignment,
                ends_at=form.cleaned_data["ends_at"] or minute_of(now),
                reason=form.cleaned_data["reason"],
                recorded_at=now,
                recorded_by=account,
            )
            return redirect("job", job_id=assignment.slot.job_id)
    return render(request, "registry/end.html", {"assignment": assignment, "form": form}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def substitute(request: HttpRequest, *, account: Account, assignment_id: int) -> HttpResponse:
    leaving = _own_assignment(account, assignment_id)
    job, now = leaving.slot.job, timezone.now()
    if leaving.state.standing == "ended":
        return redirect("job", job_id=job.pk)
    form = SubstituteForm(posted(request), job=job, leaving=leaving.worker_id, initial=request.GET.dict())
    if not _only_looking(request, form) and form.is_valid():
        with refused_beside_fields(form):
            outcome = services.substitute(
                leaving=leaving,
                worker_id=form.cleaned_data["worker"].pk,
                from_instant=form.cleaned_data["from_instant"],
                reason=form.reason_in_words(),
                assigned_at=now,
                assigned_by=account,
            )
            return redirect("decision", decision_id=outcome.decision.pk)
    during = leaving.state.during
    asked = FromForm(request.POST or request.GET, job=job).from_when(minute_of(now))
    start = asked if during.lower < asked < during.upper else during.lower
    query = searched(request)
    found = candidates_for(leaving.slot, start=start, end=during.upper, query=query)
    shown = {
        "assignment": leaving,
        "slot": leaving.slot,
        "form": form,
        "query": query,
        "start": start,
        "end": during.upper,
        "begun": during.lower < now,
        "candidates": found.without(leaving.worker_id),
        "caution": CAUTION,
    }
    return render(request, "registry/substitute.html", shown, status=status_of(form))


@page
@require_POST
def decide_again(request: HttpRequest, *, account: Account, assignment_id: int) -> HttpResponse:
    assignment = _own_assignment(account, assignment_id)
    decided = services.decide_again(assignment=assignment, decided_at=timezone.now(), decided_by=account)
    return redirect("decision", decision_id=decided.pk)


@page
@require_POST
def decide_held_again(request: HttpRequest, *, account: Account, job_id: int | None = None) -> HttpResponse:
    job = None if job_id is None else get_object_or_404(access.visible_jobs(account), pk=job_id)
    if job is not None:
        access.require_may_assign(account, job)
    employer = access.employer_of(account)
    decided = services.decide_held_again(employer=employer, job=job, decided_at=timezone.now(), decided_by=account)
    standing = len(decided.standing)
    if standing:
        said = ngettext("%(standing)d place stands again.", "%(standing)d places stand again.", standing)
        messages.success(request, said % {"standing": standing})
    for state, why in decided.held:
        place = {"name": state.worker, "role": state.slot.get_role_display(), "site": state.job.site, "why": why}
        messages.warning(request, _("Still held: %(name)s as %(role)s, %(site)s. %(why)s") % place)
    return redirect("home") if job is None else redirect("job", job_id=job.pk)


@page
@require_GET
def decision(request: HttpRequest, *, account: Account, decision_id: int) -> HttpResponse:
    decisions = access.visible_decisions(account).select_related("worker", "model__maker", "employer", "decided_by")
    described = DescribedDecision(get_object_or_404(decisions, pk=decision_id))
    shown = {"page": described, "caution": CAUTION}
    if in_place(request) and described.slot is not None:
        # Asked on the page of a job: the answer appears at its place, in the crew as it is now.
        job = get_object_or_404(access.visible_jobs(account), pk=described.slot.job_id)
        return render(request, "registry/crew.html", {**shown, "crew": crew_for(account, job)})
    return render(request, "registry/decision.html", shown)


@page
@require_GET
def workers(request: HttpRequest, *, account: Account) -> HttpResponse:
    visible = access.visible_workers(account).order_by("family_name", "given_name", "id")
    if account.kind != "employer":
        return render(request, "registry/workers.html", {"people": people_named(request, visible, most=100)})
    query, today = searched(request), today_for(access.visible_jobs(account), at=timezone.now())
    employed = people_employed(access.employer_of(account), day=today)
    found = people_list(visible, employed=employed, query=query, today=today, page=request.GET.get("page"))
    return render(request, "registry/employed.html", {"people": found, "page": found.page, "query": query})


@page
@require_GET
def outlook(request: HttpRequest, *, account: Account) -> HttpResponse:
    employer, now = access.employer_of(account), timezone.now()
    today = today_for(access.visible_jobs(account), at=now)
    since, until = coming_year(today)
    people = people_employed(employer, day=today)
    shown = {
        "months": month_bars(running_out_by_month(people, since=since, until=until)),
        "roles": coverage_of_roles(employer, day=today, at=now),
        "people": people.count(),
        "caution": CAUTION,
    }
    return render(request, "registry/outlook.html", shown)


@page
@require_GET
def worker(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    found = get_object_or_404(access.visible_workers(account), pk=worker_id)
    return render(request, "registry/worker.html", {"record": record_of(found, account, now=timezone.now())})


def _own_assignment(account: Account, assignment_id: int) -> Assignment:
    visible = access.visible_assignments(account).select_related(
        "state", "worker", "slot__job__site", "slot__job__crane__model__maker", "slot__job__employer"
    )
    assignment = get_object_or_404(visible, pk=assignment_id)
    access.require_may_assign(account, assignment.slot.job)
    return assignment


def minute_of(now: datetime) -> datetime:
    """The minute that a clock shows at ``now``: no form could name what begins some seconds after it."""
    return now.replace(second=0, microsecond=0)


def download(content: bytes, name: str, media_type: str) -> HttpResponse:
    """A file to save, never to open within the page's origin."""
    return HttpResponse(
        content,
        content_type=media_type,
        headers={
            "Content-Disposition": content_disposition_header(as_attachment=True, filename=name) or "",
            "Content-Security-Policy": "sandbox; default-src 'none'",
            "X-Content-Type-Options": "nosniff",
        },
    )


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form was sent with, if it was sent."""
    return request.POST if request.method == "POST" else None


def status_of(form: Any) -> int:
    """422 for a form that was sent and refused, else 200."""
    return 422 if form.is_bound and form.errors else 200


def number_in(written: str | None, otherwise: int) -> int:
    """A record's number as somebody may have written it into an address."""
    return int(written) if written and written.isascii() and written.isdecimal() and len(written) < 16 else otherwise
