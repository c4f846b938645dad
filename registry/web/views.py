"""Pages: fetch through queries and access, call one service, render. The clock is read here and nowhere deeper."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access, queries, services
from registry.crews.described import DescribedDecision
from registry.crews.models import Assignment
from registry.database.errors import RecordRefused
from registry.eligibility.render import CAUTION
from registry.eligibility.standard import BadInput
from registry.people.models import Account
from registry.web.forms import EndForm, FillForm, PlanForm, SubstituteForm, people_named, refused_beside_fields
from registry.web.job_page import crew_for, readiness_of
from registry.web.worker_page import record_of

View = Callable[..., HttpResponse]


def page(view: View) -> View:
    """A page for people who are signed in; what they may not do, or what cannot be asked, is a clear page."""

    @wraps(view)
    def guarded(request: HttpRequest, **given: Any) -> HttpResponse:
        try:
            return view(request, account=cast(Account, request.user), **given)
        except access.NotAllowed as error:
            return render(request, "registry/problem.html", {"message": str(error)}, status=403)
        except BadInput as error:
            return render(request, "registry/problem.html", {"message": error.message}, status=400)
        except RecordRefused as error:
            return render(request, "registry/problem.html", {"message": str(error)}, status=409)

    return cast(View, never_cache(login_required(guarded)))


@page
@require_GET
def home(request: HttpRequest, *, account: Account) -> HttpResponse:
    jobs = Paginator(access.visible_jobs(account), 20).get_page(request.GET.get("page"))
    return render(request, "registry/home.html", {"page": jobs, "jobs": readiness_of(list(jobs))})


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
    found = get_object_or_404(access.visible_jobs(account), pk=job_id)
    return render(request, "registry/job.html", {"crew": crew_for(account, found), "caution": CAUTION})


@page
@require_http_methods(["GET", "POST"])
def fill_slot(request: HttpRequest, *, account: Account, slot_id: int) -> HttpResponse:
    slot = get_object_or_404(access.visible_slots(account), pk=slot_id)
    access.require_may_assign(account, slot.job)
    form = FillForm(posted(request), slot=slot)
    if form.is_valid():
        with refused_beside_fields(form):
            outcome = services.assign(slot_id=slot.pk, assigned_at=timezone.now(), assigned_by=account, **form.asked())
            return redirect("decision", decision_id=outcome.decision.pk)
    shown = {"slot": slot, "form": form, "people": people_named(request, queries.candidates(slot.job))}
    return render(request, "registry/fill_slot.html", shown, status=status_of(form))


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
                ends_at=form.cleaned_data["ends_at"] or now,
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
    job = leaving.slot.job
    form = SubstituteForm(posted(request), job=job)
    if form.is_valid():
        with refused_beside_fields(form):
            now = timezone.now()
            outcome = services.substitute(
                leaving=leaving,
                worker_id=form.cleaned_data["worker"].pk,
                from_instant=form.cleaned_data["from_instant"] or now,
                reason=form.cleaned_data["reason"],
                assigned_at=now,
                assigned_by=account,
            )
            return redirect("decision", decision_id=outcome.decision.pk)
    shown = {"assignment": leaving, "form": form, "people": people_named(request, queries.candidates(job))}
    return render(request, "registry/substitute.html", shown, status=status_of(form))


@page
@require_POST
def decide_again(request: HttpRequest, *, account: Account, assignment_id: int) -> HttpResponse:
    assignment = _own_assignment(account, assignment_id)
    decided = services.decide_again(assignment=assignment, decided_at=timezone.now(), decided_by=account)
    return redirect("decision", decision_id=decided.pk)


@page
@require_GET
def decision(request: HttpRequest, *, account: Account, decision_id: int) -> HttpResponse:
    decisions = access.visible_decisions(account).select_related("worker", "model__maker", "employer", "decided_by")
    found = get_object_or_404(decisions, pk=decision_id)
    return render(request, "registry/decision.html", {"page": DescribedDecision(found), "caution": CAUTION})


@page
@require_GET
def workers(request: HttpRequest, *, account: Account) -> HttpResponse:
    visible = access.visible_workers(account).order_by("family_name", "given_name", "id")
    return render(request, "registry/workers.html", {"people": people_named(request, visible, most=100)})


@page
@require_GET
def worker(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    found = get_object_or_404(access.visible_workers(account), pk=worker_id)
    return render(request, "registry/worker.html", {"record": record_of(found, now=timezone.now())})


def _own_assignment(account: Account, assignment_id: int) -> Assignment:
    visible = access.visible_assignments(account).select_related(
        "state", "worker", "slot__job__site", "slot__job__crane__model__maker", "slot__job__employer"
    )
    assignment = get_object_or_404(visible, pk=assignment_id)
    access.require_may_assign(account, assignment.slot.job)
    return assignment


def posted(request: HttpRequest) -> QueryDict | None:
    """What a form was sent with, if it was sent."""
    return request.POST if request.method == "POST" else None


def status_of(form: Any) -> int:
    """422 for a form that was sent and refused, else 200."""
    return 422 if form.is_bound and form.errors else 200


def number_in(written: str | None, otherwise: int) -> int:
    """A record's number as somebody may have written it into an address."""
    return int(written) if written and written.isascii() and written.isdecimal() and len(written) < 16 else otherwise
