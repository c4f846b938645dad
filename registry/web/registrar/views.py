"""The registrar's pages about people: what keeps them off the crews, what ended it on paper, employments."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access, record_access, standing_down
from registry.evidence import corrections
from registry.evidence.models import StandDownSuspension
from registry.people import consent, lookalikes
from registry.people.lookalikes import alike_in_words, possible_twins
from registry.people.models import Account
from registry.web.forms import people_named, refused_beside_fields
from registry.web.records import record_page
from registry.web.registrar.forms import RegistrarEmploymentForm, SettledTwinForm, SuspensionForm
from registry.web.views import page, posted, status_of

SHOWN = 50


@page
@require_GET
def bars(request: HttpRequest, *, account: Account) -> HttpResponse:
    people = record_access.people_of_the_register(account)
    shown = {
        "people": people_named(request, people),
        "waiting": corrections.waiting_for_the_registrar().count(),
        "papers": corrections.ended_on_paper().count(),
    }
    return render(request, "registrar/bars.html", shown)


@page
@require_GET
def requests_waiting(request: HttpRequest, *, account: Account) -> HttpResponse:
    record_access.people_of_the_register(account)
    waiting = Paginator(corrections.waiting_for_the_registrar(), SHOWN).get_page(request.GET.get("page"))
    return render(request, "registrar/requests.html", {"page": waiting})


@page
@require_GET
def ended_on_paper(request: HttpRequest, *, account: Account) -> HttpResponse:
    record_access.people_of_the_register(account)
    found = Paginator(corrections.ended_on_paper(), SHOWN).get_page(request.GET.get("page"))
    shown = {"page": found, "passes": [(each, record_page.in_words(each)) for each in found]}
    return render(request, "registrar/papers.html", shown)


@page
@require_GET
def bars_of(request: HttpRequest, *, account: Account, worker_id: int) -> HttpResponse:
    worker = record_access.person_of_the_register(account, worker_id)
    shown = {"worker": worker, "bars": record_page.bars_of(worker, account)}
    return render(request, "registrar/person.html", shown)


@page
@require_http_methods(["GET", "POST"])
def employment(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_registrar(account)
    form = RegistrarEmploymentForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            recorded = consent.record_for_registrar(
                recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data
            )
            messages.success(request, _("Recorded: %(what)s.") % {"what": recorded})
            return redirect("registrar_employment")
    return render(request, "registrar/employment.html", {"form": form}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def settle_twin(request: HttpRequest, *, account: Account, twin_id: int) -> HttpResponse:
    access.require_registrar(account)
    twin = get_object_or_404(possible_twins(), pk=twin_id, settled__isnull=True)
    form = SettledTwinForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            lookalikes.settle_twin(twin=twin, recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data)
            messages.success(request, _("Settled. The two stay on the list with what you found."))
            return redirect("possible_twins")
    shown = {"form": form, "each": twin, "alike": alike_in_words(twin.likeness)}
    return render(request, "registrar/settle_twin.html", shown, status=status_of(form))


@page
@require_GET
def stand_downs(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_registrar(account)
    now = timezone.now()
    suspensions = Prefetch("suspensions", standing_down.suspensions_in_force(now), to_attr="resting")
    told = standing_down.stand_downs_told().prefetch_related(suspensions)
    shown = Paginator(told, 50).get_page(request.GET.get("page"))
    return render(request, "registrar/stand_downs.html", {"page": shown})


@page
@require_http_methods(["GET", "POST"])
def suspend(request: HttpRequest, *, account: Account, stand_down_id: int) -> HttpResponse:
    access.require_registrar(account)
    barred = get_object_or_404(standing_down.stand_downs_told(), pk=stand_down_id)
    form = SuspensionForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            standing_down.suspend(stand_down=barred, recorded_at=timezone.now(), recorded_by=account, **form.given())
            messages.success(request, _("The stand-down is suspended. The person can read it on their own page."))
            return redirect("registrar_stand_downs")
    return render(request, "registrar/suspend.html", {"form": form, "each": barred}, status=status_of(form))


@page
@require_POST
def end_suspension(request: HttpRequest, *, account: Account, suspension_id: int) -> HttpResponse:
    access.require_registrar(account)
    resting = get_object_or_404(StandDownSuspension.objects.current(), pk=suspension_id)
    standing_down.end_suspension(suspension=resting, recorded_at=timezone.now(), recorded_by=account)
    messages.success(request, _("The suspension is over. The stand-down bars again."))
    return redirect("registrar_stand_downs")
