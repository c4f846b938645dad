"""Pages for makers, models, sites and cranes: fetch, call one service, render."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from registry.crews import equipment_access as access
from registry.equipment import queries, services
from registry.equipment.models import Crane, CranePlacement, Maker
from registry.people.models import Account
from registry.people.services import register_employer
from registry.web.equipment.forms import (
    CraneForm,
    EmployerForm,
    FamilyForm,
    MakerForm,
    ModelForm,
    NewSiteForm,
    PlacementForm,
)
from registry.web.forms import refused_beside_fields, searched
from registry.web.views import page, posted, status_of

ON_A_PAGE = 50


@page
@require_GET
def cranes(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_sees_equipment(account)
    found = queries.cranes_named(searched(request), at=timezone.now())
    return _list(request, account, "equipment/cranes.html", found)


@page
@require_GET
def sites(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_sees_equipment(account)
    return _list(request, account, "equipment/sites.html", queries.sites_named(searched(request)))


@page
@require_GET
def makers(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_sees_equipment(account)
    return _list(request, account, "equipment/models.html", queries.makers_named(searched(request)))


def _list(request: HttpRequest, account: Account, template: str, found: QuerySet[Any]) -> HttpResponse:
    shown = {
        "page": Paginator(found, ON_A_PAGE).get_page(request.GET.get("page")),
        "query": searched(request),
        "enters_models": access.enters_models(account),
        "enters_cranes": access.enters_cranes(account),
    }
    return render(request, template, shown)


@page
@require_http_methods(["GET", "POST"])
def new_employer(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_enters_employers(account)
    shown = {"title": _("A new employer"), "back": "home", "list": _("Register")}
    return _entered(request, EmployerForm(posted(request)), register_employer, shown)


@page
@require_http_methods(["GET", "POST"])
def new_maker(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_enters_models(account)
    form = MakerForm(posted(request))
    shown = {"title": _("A new maker"), "back": "equipment_models", "list": _("Makers and models")}
    return _entered(request, form, services.register_maker, shown)


@page
@require_http_methods(["GET", "POST"])
def new_model(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_enters_models(account)
    form = ModelForm(posted(request), initial=request.GET.dict())
    shown = {"title": _("A new crane model"), "back": "equipment_models", "list": _("Makers and models")}
    return _entered(request, form, services.register_model, shown)


@page
@require_http_methods(["GET", "POST"])
def new_family(request: HttpRequest, *, account: Account, maker_id: int) -> HttpResponse:
    access.require_enters_models(account)
    maker = get_object_or_404(Maker, pk=maker_id)
    title = _("A family of models that %(maker)s declares") % {"maker": maker}
    shown = {"title": title, "back": "equipment_models", "list": _("Makers and models")}
    form = FamilyForm(posted(request), maker=maker)
    return _entered(request, form, services.declare_family, shown, maker=maker, recorded_by=account)


@page
@require_http_methods(["GET", "POST"])
def new_site(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_enters_cranes(account)
    form = NewSiteForm(posted(request))
    shown = {"title": _("A new site"), "back": "equipment_sites", "list": _("Sites")}
    return _entered(request, form, services.register_site, shown)


def _entered(
    request: HttpRequest, form: Any, service: Callable[..., Any], shown: dict[str, Any], **given: Any
) -> HttpResponse:
    """The page of one form; what was entered leads back to its list."""
    if form.is_valid():
        with refused_beside_fields(form):
            entered = service(recorded_at=timezone.now(), **form.cleaned_data, **given)
            messages.success(request, _("Recorded: %(what)s.") % {"what": entered})
            return redirect(shown["back"])
    return render(request, "equipment/new.html", {**shown, "form": form}, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def new_crane(request: HttpRequest, *, account: Account) -> HttpResponse:
    access.require_enters_cranes(account)
    form = CraneForm(posted(request), initial=request.GET.dict())
    if form.is_valid():
        with refused_beside_fields(form):
            crane = services.register_crane(recorded_at=timezone.now(), **form.cleaned_data)
            messages.success(request, _("Recorded: %(what)s.") % {"what": crane})
            return redirect("place_crane", crane_id=crane.pk)
    shown = {"form": form, "title": _("A new crane"), "back": "equipment", "list": _("Cranes")}
    return render(request, "equipment/new.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def place_crane(request: HttpRequest, *, account: Account, crane_id: int) -> HttpResponse:
    access.require_enters_cranes(account)
    crane = get_object_or_404(Crane.objects.select_related("model__maker"), pk=crane_id)
    form = PlacementForm(posted(request))
    if form.is_valid():
        with refused_beside_fields(form):
            placed = services.place_crane(
                crane=crane, recorded_at=timezone.now(), recorded_by=account, **form.cleaned_data
            )
            messages.success(request, _("Recorded: %(what)s.") % {"what": placed})
            return redirect("place_crane", crane_id=crane.pk)
    stays = Paginator(queries.stays_of(crane), ON_A_PAGE).get_page(request.GET.get("page"))
    shown = {
        "crane": crane,
        "form": form,
        "page": stays,
        "stays": [(each, access.changes_placement(account, each)) for each in stays],
    }
    return render(request, "equipment/crane.html", shown, status=status_of(form))


@page
@require_http_methods(["GET", "POST"])
def correct_placement(request: HttpRequest, *, account: Account, placement_id: int) -> HttpResponse:
    current = CranePlacement.objects.current().select_related("site", "crane__model__maker", "recorded_by")
    placement = get_object_or_404(current, pk=placement_id)
    access.require_changes_placement(account, placement)
    form = PlacementForm(posted(request), initial=PlacementForm.as_recorded(placement))
    now = timezone.now()
    if "withdraw" in request.POST:
        services.withdraw_placement(placement=placement, recorded_at=now, recorded_by=account)
        messages.success(request, _("The withdrawal is recorded."))
        return redirect("place_crane", crane_id=placement.crane_id)
    if form.is_valid():
        with refused_beside_fields(form):
            services.place_crane(
                crane=placement.crane,
                supersedes=placement,
                recorded_at=now,
                recorded_by=account,
                **form.as_meant(placement),
            )
            messages.success(request, _("The correction is recorded; the old record stays, marked as corrected."))
            return redirect("place_crane", crane_id=placement.crane_id)
    shown = {"placement": placement, "form": form}
    return render(request, "equipment/placement.html", shown, status=status_of(form))
