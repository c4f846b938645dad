"""Pages of an inspection: fetch, ask, render."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import get_language
from django.views.decorators.http import require_GET, require_http_methods

from registry.crews import access
from registry.crews.models import Job
from registry.crews.queries import asking_for_slot
from registry.engine.render import CAUTION
from registry.equipment.models import Crane
from registry.inspection import plans, search, services, trace
from registry.inspection.as_known import compare
from registry.inspection.bundle import make_bundle
from registry.inspection.crew_as_known import crew_as_known
from registry.inspection.models import InspectionFile
from registry.inspection.pointers import second_look as pointers_about
from registry.inspection.report import job_file
from registry.ledger import here
from registry.people.lookalikes import alike_in_words, possible_twins
from registry.people.models import Account, Worker
from registry.web.forms import refused_beside_fields
from registry.web.inspection.forms import (
    FileForm,
    KnownAtForm,
    PersonKnownAtForm,
    SearchForm,
    clock_value,
    through_minute,
)
from registry.web.views import download, number_in, page, posted, status_of


@page
@require_GET
def inspection(request: HttpRequest, *, account: Account) -> HttpResponse:
    services.require_inspector(account)
    form = SearchForm(request.GET)
    words, day = (form.cleaned_data["q"], form.cleaned_data["day"]) if form.is_valid() else ("", None)
    shown = {
        "form": form,
        "found": search.find(words) if words else None,
        "day": day,
        "crews": search.crews_on(day) if day else None,
        "files": InspectionFile.objects.filter(recorded_by=account).select_related(
            "job__site", "job__crane__model__maker"
        )[:20],
    }
    return render(request, "inspection/inspection.html", shown, status=status_of(form))


@page
@require_GET
def crane(request: HttpRequest, *, account: Account, crane_id: int) -> HttpResponse:
    services.require_inspector(account)
    found = get_object_or_404(Crane.objects.select_related("model__maker"), pk=crane_id)
    placements = found.placements.select_related("site", "superseded_by").order_by("-start", "-id")
    shown = {"crane": found, "placements": placements, "jobs": search.jobs_on_crane(found)}
    return render(request, "inspection/crane.html", shown)


@page
@require_GET
def job_as_known(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    job = get_object_or_404(plans.visible_plans(account), pk=job_id)
    form = KnownAtForm(request.GET or None, job=job, initial=_present(job))
    crew = None
    if form.is_valid():
        now = timezone.now()
        with refused_beside_fields(form):
            crew = crew_as_known(
                job,
                day_instant=form.cleaned_data["during"] or job.start,
                known_at=through_minute(form.cleaned_data["at"], now=now),
                now=now,
            )
            visible = plans.visible_among(account, crew.workers, at=now)
            crew = crew.seen_by(visible, whole_crew=account.kind != "worker")
    shown = {"job": job, "zone": job.site.time_zone, "form": form, "crew": crew, "caution": CAUTION}
    return render(request, "inspection/job_as_known.html", shown, status=status_of(form))


@page
@require_GET
def slot_as_known(request: HttpRequest, *, account: Account, slot_id: int) -> HttpResponse:
    slot = get_object_or_404(plans.visible_places(account), pk=slot_id)
    job = slot.job
    people = access.visible_workers(account)
    asked = request.GET if "at" in request.GET else None
    form = PersonKnownAtForm(
        asked, job=job, people=people, initial=_present(job) | {"worker": request.GET.get("worker")}
    )
    # The list of everybody would be the register itself; the person comes with the address.
    form.fields["worker"].widget = form.fields["worker"].hidden_widget()
    person = people.filter(pk=number_in(request.GET.get("worker"), 0)).first()
    if person is None:
        raise Http404
    comparison = None
    if form.is_valid():
        now = timezone.now()
        with refused_beside_fields(form):
            asking = asking_for_slot(slot, worker=person.pk, start=job.start, end=job.end)
            known_at = through_minute(form.cleaned_data["at"], now=now)
            instants = plans.instants_read(account, person.pk, known_at=known_at, now=now)
            comparison = compare(asking, known_at=instants.known_at, now=instants.now)
            visible = plans.visible_among(account, comparison.workers, at=now)
            comparison = comparison.seen_by(visible | {person.pk})
    shown = {
        "slot": slot,
        "job": job,
        "zone": job.site.time_zone,
        "person": person,
        "form": form,
        "comparison": comparison,
        "caution": CAUTION,
    }
    return render(request, "inspection/slot_as_known.html", shown, status=status_of(form))


@page
@require_GET
def second_look(request: HttpRequest, *, account: Account) -> HttpResponse:
    services.require_inspector(account)
    return render(request, "inspection/second_look.html", {"rules": pointers_about(limit=50), "about": None})


@page
@require_GET
def second_look_at(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    services.require_inspector(account)
    person = get_object_or_404(Worker, pk=worker_id)
    shown = {"rules": pointers_about(workers={person.pk}), "about": person}
    return render(request, "inspection/second_look.html", shown)


@page
@require_http_methods(["GET", "POST"])
def open_file(request: HttpRequest, *, account: Account, job_id: int) -> HttpResponse:
    services.require_inspector(account)
    job = get_object_or_404(plans.visible_plans(account), pk=job_id)
    form = FileForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            opened = services.open_file(job=job, opened_at=timezone.now(), opened_by=account, **form.cleaned_data)
            return redirect("file", file_id=opened.pk)
    shown = {"job": job, "form": form, "zone": job.site.time_zone}
    return render(request, "inspection/open_file.html", shown, status=status_of(form))


@page
@require_GET
def file(request: HttpRequest, *, account: Account, file_id: int) -> HttpResponse:
    services.require_inspector(account)
    found = get_object_or_404(InspectionFile.objects.select_related("recorded_by"), pk=file_id)
    shown = job_file(found, reader=account)
    return render(
        request, "inspection/file.html", {"shown": shown, "zone": shown.job.site.time_zone, "caution": CAUTION}
    )


@page
@require_GET
def bundle(request: HttpRequest, *, account: Account, file_id: int) -> HttpResponse:
    services.require_inspector(account)
    found = get_object_or_404(InspectionFile.objects.select_related("job", "recorded_by"), pk=file_id)
    now = timezone.now()
    packed = make_bundle(file=found, checkpoint=here.sign(at=now), at=now, language=get_language() or "en")
    name = slugify(found.reference) or str(found.pk)
    return download(packed, f"inspection-{name}.zip", "application/zip")


@page
@require_GET
def looks(request: HttpRequest, *, account: Account) -> HttpResponse:
    found = Paginator(trace.seen_by(account), 50).get_page(request.GET.get("page"))
    shown = {"page": found, "looks": list(found)}
    return render(request, "inspection/looks.html", shown)


def _present(job: Job) -> dict[str, Any]:
    zone = ZoneInfo(job.site.time_zone)
    return {
        "at": clock_value(min(timezone.now(), job.start).astimezone(zone)),
        "during": clock_value(job.start.astimezone(zone)),
    }


@page
@require_GET
def twins(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_sees_twins(account)
    shown = Paginator(possible_twins(), 50).get_page(request.GET.get("page"))
    lines = [(each, alike_in_words(each.likeness)) for each in shown]
    return render(request, "inspection/possible_twins.html", {"page": shown, "twins": lines})
