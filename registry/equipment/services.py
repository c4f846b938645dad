"""Makers, models, sites, cranes and where they stand.

Every function raises :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction
from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused, refusals
from registry.equipment.models import Crane, CraneModel, CranePlacement, FamilyDeclaration, Maker, Site
from registry.people.models import Account


def register_maker(*, name: str, recorded_at: datetime) -> Maker:
    """Register a maker by name."""
    with refusals(), transaction.atomic():
        return Maker.objects.create(name=name, recorded_at=recorded_at)


def register_model(
    *,
    maker: Maker,
    designation: str,
    crane_class: str,
    recorded_at: datetime,
    configurations: Sequence[str] = (),
) -> CraneModel:
    """Register a crane model under its maker's designation."""
    with refusals(), transaction.atomic():
        return CraneModel.objects.create(
            maker=maker,
            designation=designation,
            crane_class=crane_class,
            configurations=list(configurations),
            recorded_at=recorded_at,
        )


def declare_family(
    *,
    maker: Maker,
    models: Sequence[CraneModel],
    document: str,
    valid_from: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    valid_until: date | None = None,
) -> FamilyDeclaration:
    """Record the maker's own declaration that models are equivalent for training."""
    with refusals(), transaction.atomic():
        return FamilyDeclaration.objects.create(
            maker=maker,
            models_declared=sorted(each.pk for each in models),
            document=document,
            valid_from=valid_from,
            valid_until=valid_until,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def register_site(
    *,
    name: str,
    time_zone: str,
    jurisdiction: str,
    recorded_at: datetime,
    address: str = "",
    working_language: str = "",
) -> Site:
    """Register a site; ``time_zone`` is a name of the IANA time zone database."""
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise RecordRefused(
            [
                Problem(
                    "time_zone",
                    "site_time_zone_is_known",
                    _("There is no time zone %(name)s.") % {"name": repr(time_zone)},
                )
            ]
        ) from None
    with refusals(), transaction.atomic():
        return Site.objects.create(
            name=name,
            time_zone=time_zone,
            jurisdiction=jurisdiction,
            address=address,
            working_language=working_language,
            recorded_at=recorded_at,
        )


def register_crane(*, model: CraneModel, serial_number: str, recorded_at: datetime) -> Crane:
    """Register a crane by its maker's serial number."""
    with refusals(), transaction.atomic():
        return Crane.objects.create(model=model, serial_number=serial_number, recorded_at=recorded_at)


def place_crane(
    *,
    crane: Crane,
    site: Site,
    start: datetime,
    recorded_at: datetime,
    recorded_by: Account | None,
    end: datetime | None = None,
    supersedes: CranePlacement | None = None,
) -> CranePlacement:
    """Record that a crane stands on a site from ``start`` until ``end`` (``None``: still there)."""
    with refusals(), transaction.atomic():
        return CranePlacement.objects.create(
            crane=crane,
            site=site,
            start=start,
            end=end,
            supersedes=supersedes,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
