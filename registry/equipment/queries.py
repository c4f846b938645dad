"""Makers with their models, sites, and cranes with where each stands."""

from __future__ import annotations

from datetime import datetime
from typing import TypeVar

from django.db.models import Model, Prefetch, Q, QuerySet

from registry.equipment.models import Crane, CraneModel, CranePlacement, Maker, Site

Listed = TypeVar("Listed", bound=Model)
MOST_WORDS = 6


def cranes_named(words: str, *, at: datetime) -> QuerySet[Crane]:
    """Cranes by model and serial number, each with ``standing``: where it stands at ``at``. Two statements."""
    standing = (
        CranePlacement.objects.current()
        .filter(Q(end__isnull=True) | Q(end__gt=at), start__lte=at)
        .select_related("site")
    )
    cranes = Crane.objects.select_related("model__maker").order_by(
        "model__maker__name", "model__designation", "serial_number"
    )
    found = _with(words, cranes, "serial_number", "model__designation", "model__maker__name")
    return found.prefetch_related(Prefetch("placements", standing, to_attr="standing"))


def sites_named(words: str) -> QuerySet[Site]:
    """Sites by name."""
    return _with(words, Site.objects.order_by("name", "id"), "name", "address")


def makers_named(words: str) -> QuerySet[Maker]:
    """Makers by name, each with all its models; also found by what a model is called. Three statements."""
    models = CraneModel.objects.order_by("designation").select_related("maker")
    makers = _with(words, Maker.objects.order_by("name"), "name", "models__designation")
    return makers.distinct().prefetch_related(Prefetch("models", models))


def stays_of(crane: Crane) -> QuerySet[CranePlacement]:
    """Where the crane stood, latest first, without what was corrected."""
    stays = crane.placements.get_queryset().current()  # type: ignore[attr-defined]
    return stays.select_related("site", "recorded_by__employer").order_by("-start", "-id")


def _with(words: str, among: QuerySet[Listed], *fields: str) -> QuerySet[Listed]:
    """Those that have every word somewhere in these fields."""
    for word in words.replace("\0", "").split()[:MOST_WORDS]:
        somewhere = Q()
        for each in fields:
            somewhere |= Q(**{f"{each}__icontains": word})
        among = among.filter(somewhere)
    return among
