"""Makers, models, sites, cranes and where they stand.

Every function raises :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import connection, transaction

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.equipment.models import Crane, CraneModel, CranePlacement, FamilyDeclaration, Maker, Site
from registry.language.spelling import on_one_line, same_spelling
from registry.people.models import Account

LANGUAGE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{1,8})*")


@repeating
def register_maker(*, name: str, recorded_at: datetime) -> Maker:
    """Register a maker by name; another spelling of a name that is known is refused."""
    name = _given(name, "maker_has_a_name")
    with refusals(), _one_at_a_time("makers"):
        if known := same_spelling(name, Maker.objects.values_list("name", flat=True)):
            raise RecordRefused([broken("maker_is_registered_once", known=known)])
        return Maker.objects.create(name=name, recorded_at=recorded_at)


@repeating
def register_model(
    *,
    maker: Maker,
    designation: str,
    crane_class: str,
    recorded_at: datetime,
    configurations: Sequence[str] = (),
) -> CraneModel:
    """Register a crane model under its maker's designation.

    Hours count by class too, so a class is spelled as it is with the models there are.
    """
    designation = _given(designation, "model_has_a_designation")
    crane_class = _given(crane_class, "model_has_a_class")
    narrowed = [each for each in map(on_one_line, configurations) if each]
    for number, each in enumerate(narrowed):
        if same_spelling(each, narrowed[:number]):
            raise RecordRefused([broken("model_names_a_configuration_once", name=each)])
    with refusals(), _one_at_a_time("models"):
        if known := same_spelling(designation, maker.models.values_list("designation", flat=True)):
            raise RecordRefused([broken("model_is_registered_once", known=f"{maker} {known}")])
        classes = CraneModel.objects.order_by().values_list("crane_class", flat=True).distinct()
        known = same_spelling(crane_class, classes)
        if known not in (None, crane_class):
            raise RecordRefused([broken("a_class_has_one_spelling", known=known)])
        return CraneModel.objects.create(
            maker=maker,
            designation=designation,
            crane_class=crane_class,
            configurations=narrowed,
            recorded_at=recorded_at,
        )


@repeating
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
    document = on_one_line(document)
    if not document:
        raise RecordRefused([broken("family_names_the_makers_document")])
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


@repeating
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
    name = _given(name, "site_has_a_name")
    jurisdiction = _given(jurisdiction, "site_has_a_jurisdiction")
    address = "\n".join(filter(None, map(on_one_line, address.splitlines())))
    try:
        ZoneInfo(time_zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise RecordRefused([broken("site_time_zone_is_known")]) from None
    if working_language and not LANGUAGE.fullmatch(working_language):
        raise RecordRefused([broken("language_is_a_bcp_47_tag", "working_language")])
    with refusals(), _one_at_a_time("sites"):
        alike = {f"{each.name} {each.address}" for each in Site.objects.filter(jurisdiction=jurisdiction)}
        if known := same_spelling(f"{name} {address}", alike):
            raise RecordRefused([broken("site_is_registered_once", known=on_one_line(known))])
        return Site.objects.create(
            name=name,
            time_zone=time_zone,
            jurisdiction=jurisdiction,
            address=address,
            working_language=working_language,
            recorded_at=recorded_at,
        )


@repeating
def register_crane(*, model: CraneModel, serial_number: str, recorded_at: datetime) -> Crane:
    """Register a crane by its maker's serial number."""
    serial_number = _given(serial_number, "crane_has_a_serial_number")
    with refusals(), _one_at_a_time("cranes"):
        if same_spelling(serial_number, model.cranes.values_list("serial_number", flat=True)):
            raise RecordRefused([broken("serial_number_is_unique_for_its_model")])
        return Crane.objects.create(model=model, serial_number=serial_number, recorded_at=recorded_at)


@repeating
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
    """Record that a crane stands on a site from ``start`` until ``end`` (``None``: still there).

    With ``supersedes`` this is what was meant by an earlier record: another site, other times, or its end.
    """
    if end is not None and end <= start:
        # Asked before the database, which takes a range that ends before it starts for a slip of the program.
        raise RecordRefused([broken("placement_end_is_after_start")])
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


@repeating
def withdraw_placement(
    *, placement: CranePlacement, recorded_at: datetime, recorded_by: Account | None
) -> CranePlacement:
    """Record that the crane never stood there then."""
    with refusals(), transaction.atomic():
        return CranePlacement.objects.create(
            crane=placement.crane,
            site=placement.site,
            start=placement.start,
            end=placement.end,
            supersedes=placement,
            withdrawn=True,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


@contextmanager
def _one_at_a_time(what: str) -> Iterator[None]:
    """Two who register one thing in two spellings wait for each other; else neither would see the other."""
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"equipment {what}"])
        yield


def _given(text: str, rule: str) -> str:
    """The text on one line. Refused by ``rule`` if there is none."""
    if not (line := on_one_line(text)):
        raise RecordRefused([broken(rule)])
    return line
