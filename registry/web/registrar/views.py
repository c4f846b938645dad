"""The registrar's pages about people: fetch, call one service, render."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from registry.crews import access, standing_down
from registry.evidence.models import StandDownSuspension
from registry.people import consent
from registry.people.models import Account
from registry.web.forms import refused_beside_fields
from registry.web.registrar.forms import RegistrarEmploymentForm, SuspensionForm
from registry.web.views import page, posted, status_of


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
