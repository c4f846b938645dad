"""Makers, families, sites, and one crane on one site at a time."""

from dataclasses import dataclass
from datetime import UTC, date, datetime

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.equipment.models import Crane, CraneModel, CranePlacement, Maker, Site
from registry.equipment.services import (
    declare_family,
    place_crane,
    register_crane,
    register_maker,
    register_model,
    register_site,
    withdraw_placement,
)

pytestmark = pytest.mark.django_db

JANUARY, FEBRUARY, MARCH = (datetime(2026, month, 1, tzinfo=UTC) for month in (1, 2, 3))


@dataclass(frozen=True)
class Yard:
    now: datetime
    maker: Maker
    model: CraneModel
    sibling: CraneModel
    foreign: CraneModel
    crane: Crane
    site: Site
    other_site: Site

    def place(
        self,
        start: datetime,
        end: datetime | None,
        *,
        site: Site | None = None,
        supersedes: CranePlacement | None = None,
    ) -> CranePlacement:
        return place_crane(
            crane=self.crane,
            site=site or self.site,
            start=start,
            end=end,
            supersedes=supersedes,
            recorded_at=self.now,
            recorded_by=None,
        )

    def declare(self, *models: CraneModel, document: str = "Bulletin 7") -> None:
        declare_family(
            maker=self.maker,
            models=models,
            document=document,
            valid_from=date(2026, 1, 1),
            recorded_at=self.now,
            recorded_by=None,
        )


@pytest.fixture
def yard() -> Yard:
    now = timezone.now()
    maker, other = (register_maker(name=name, recorded_at=now) for name in ("Alder", "Birch"))

    def model(by: Maker, designation: str) -> CraneModel:
        return register_model(maker=by, designation=designation, crane_class="hammerhead", recorded_at=now)

    def site(name: str) -> Site:
        return register_site(name=name, time_zone="America/New_York", jurisdiction="US", recorded_at=now)

    first = model(maker, "A 10")
    return Yard(
        now=now,
        maker=maker,
        model=first,
        sibling=model(maker, "A 12"),
        foreign=model(other, "A 10"),
        crane=register_crane(model=first, serial_number="1001", recorded_at=now),
        site=site("Quay"),
        other_site=site("Mill"),
    )


def rules(refused: pytest.ExceptionInfo[RecordRefused]) -> set[tuple[str, str]]:
    return {(each.field, each.rule) for each in refused.value.problems}


def version(subject: str) -> int:
    with connection.cursor() as cursor:
        cursor.execute("SELECT version FROM evidence_evidenceversion WHERE subject = %s", [subject])
        found = cursor.fetchone()
    return found[0] if found else 0


def test_a_designation_is_its_makers(yard: Yard) -> None:
    with pytest.raises(RecordRefused) as refused:
        register_model(maker=yard.maker, designation="A 10", crane_class="luffing", recorded_at=yard.now)
    assert rules(refused) == {("designation", "model_is_registered_once")}


def test_a_serial_number_is_one_cranes(yard: Yard) -> None:
    with pytest.raises(RecordRefused) as refused:
        register_crane(model=yard.model, serial_number="1001", recorded_at=yard.now)
    assert rules(refused) == {("serial_number", "serial_number_is_unique_for_its_model")}


@pytest.mark.parametrize("name", ["", "Nowhere/Land", "../zone", "EST+5X"])
def test_a_site_lies_in_a_zone(yard: Yard, name: str) -> None:
    with pytest.raises(RecordRefused) as refused:
        register_site(name="Pier", time_zone=name, jurisdiction="US", recorded_at=yard.now)
    assert rules(refused) == {("time_zone", "site_time_zone_is_known")}


def test_a_declaration_changes_the_version_of_each_model_in_it(yard: Yard) -> None:
    yard.declare(yard.model, yard.sibling)
    assert version(f"model:{yard.model.pk}") == version(f"model:{yard.sibling.pk}") == 1
    assert version(f"model:{yard.foreign.pk}") == 0


def test_a_maker_declares_families_of_two_or_more_of_its_own_models(yard: Yard) -> None:
    for models in ([yard.model, yard.foreign], [yard.model], [yard.model, yard.model]):
        with pytest.raises(RecordRefused) as refused:
            yard.declare(*models)
        assert rules(refused) == {("models", "family_holds_models_of_its_own_maker")}


def test_a_family_rests_on_the_makers_document(yard: Yard) -> None:
    with pytest.raises(RecordRefused) as refused:
        yard.declare(yard.model, yard.sibling, document="")
    assert rules(refused) == {("document", "family_names_the_makers_document")}


@pytest.mark.parametrize("end", [FEBRUARY, None])
def test_a_crane_stands_on_one_site_at_a_time(yard: Yard, end: datetime | None) -> None:
    yard.place(JANUARY, MARCH)
    with pytest.raises(RecordRefused) as refused:
        yard.place(JANUARY, end, site=yard.other_site)
    assert rules(refused) == {("crane", "crane_stands_on_one_site_at_a_time")}


def test_a_crane_may_move_the_moment_it_leaves(yard: Yard) -> None:
    yard.place(JANUARY, FEBRUARY)
    yard.place(FEBRUARY, None, site=yard.other_site)
    assert CranePlacement.objects.current().count() == 2


def test_a_correction_makes_room(yard: Yard) -> None:
    standing = yard.place(JANUARY, None)
    yard.place(JANUARY, FEBRUARY, supersedes=standing)
    yard.place(FEBRUARY, None, site=yard.other_site)
    assert CranePlacement.objects.current().count() == 2


def test_a_placement_is_corrected_once(yard: Yard) -> None:
    standing = yard.place(JANUARY, None)
    yard.place(JANUARY, MARCH, supersedes=standing)
    with pytest.raises(RecordRefused) as refused:
        yard.place(JANUARY, FEBRUARY, supersedes=standing)
    assert {each.field for each in refused.value.problems} <= {"supersedes", "crane"}


def test_a_crane_leaves_after_it_came(yard: Yard) -> None:
    with pytest.raises(RecordRefused) as refused:
        yard.place(FEBRUARY, JANUARY)
    assert {each.field for each in refused.value.problems} <= {"end", ""}


@pytest.mark.parametrize("table", ["equipment_maker", "equipment_site", "equipment_crane", "equipment_cranemodel"])
def test_equipment_is_never_changed(yard: Yard, table: str) -> None:
    with (
        pytest.raises(ProgrammingError, match="permission denied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(f"UPDATE {table} SET recorded_at = recorded_at")


def test_a_withdrawal_names_what_it_withdraws(yard: Yard) -> None:
    with pytest.raises(IntegrityError, match="withdrawal_supersedes_a_record"), transaction.atomic():
        CranePlacement.objects.create(
            crane=yard.crane, site=yard.site, start=JANUARY, withdrawn=True, recorded_at=yard.now
        )


SPELLINGS = ["alder", " ALDER ", "\u00c1lder", "Al-der"]


@pytest.mark.parametrize("name", SPELLINGS)
def test_a_maker_is_registered_once_however_it_is_spelled(yard: Yard, name: str) -> None:
    with pytest.raises(RecordRefused, match="Alder is registered already") as refused:
        register_maker(name=name, recorded_at=yard.now)
    assert rules(refused) == {("name", "maker_is_registered_once")}


@pytest.mark.parametrize("designation", ["a10", "A-10", "A  10"])
def test_a_model_is_registered_once_however_it_is_spelled(yard: Yard, designation: str) -> None:
    with pytest.raises(RecordRefused, match="Alder A 10 is registered already") as refused:
        register_model(maker=yard.maker, designation=designation, crane_class="hammerhead", recorded_at=yard.now)
    assert rules(refused) == {("designation", "model_is_registered_once")}


def test_a_mark_between_figures_tells_two_models_apart(yard: Yard) -> None:
    for designation in ("B 2-10", "B 21-0", "B 210"):
        register_model(maker=yard.maker, designation=designation, crane_class="hammerhead", recorded_at=yard.now)
    assert yard.maker.models.count() == 5


def test_a_class_has_one_spelling(yard: Yard) -> None:
    with pytest.raises(RecordRefused, match="“hammerhead”") as refused:
        register_model(maker=yard.maker, designation="A 14", crane_class="Hammer head", recorded_at=yard.now)
    assert rules(refused) == {("crane_class", "a_class_has_one_spelling")}


def test_a_model_names_a_configuration_once(yard: Yard) -> None:
    def model(*configurations: str) -> CraneModel:
        return register_model(
            maker=yard.maker,
            designation="A 14",
            crane_class="hammerhead",
            configurations=configurations,
            recorded_at=yard.now,
        )

    with pytest.raises(RecordRefused, match="named twice"):
        model("long jib", "Long Jib")
    assert model(" long  jib", "").configurations == ["long jib"]


def test_a_crane_is_registered_once_however_its_number_is_spelled(yard: Yard) -> None:
    register_crane(model=yard.model, serial_number="AB-7", recorded_at=yard.now)
    with pytest.raises(RecordRefused) as refused:
        register_crane(model=yard.model, serial_number="ab 7", recorded_at=yard.now)
    assert rules(refused) == {("serial_number", "serial_number_is_unique_for_its_model")}


def test_a_site_is_registered_once_by_its_name_and_address(yard: Yard) -> None:
    def site(address: str, language: str = "") -> Site:
        return register_site(
            name="Gull Pier",
            address=address,
            time_zone="America/New_York",
            jurisdiction="US",
            working_language=language,
            recorded_at=yard.now,
        )

    site("1 Low Road")
    assert site("9 High Road").pk
    with pytest.raises(RecordRefused) as refused:
        site("1, low road")
    assert rules(refused) == {("name", "site_is_registered_once")}
    with pytest.raises(RecordRefused) as refused:
        site("4 Mid Road", "Frensh")
    assert rules(refused) == {("working_language", "language_is_a_bcp_47_tag")}


def test_nothing_is_registered_without_its_name(yard: Yard) -> None:
    now = yard.now
    for field, register in (
        ("name", lambda: register_maker(name=" ", recorded_at=now)),
        (
            "designation",
            lambda: register_model(maker=yard.maker, designation=" ", crane_class="luffing", recorded_at=now),
        ),
        ("crane_class", lambda: register_model(maker=yard.maker, designation="X", crane_class="", recorded_at=now)),
        ("name", lambda: register_site(name="\n", time_zone="UTC", jurisdiction="US", recorded_at=now)),
        ("jurisdiction", lambda: register_site(name="X", time_zone="UTC", jurisdiction="", recorded_at=now)),
        ("serial_number", lambda: register_crane(model=yard.model, serial_number="", recorded_at=now)),
    ):
        with pytest.raises(RecordRefused) as refused:
            register()
        assert [each.field for each in refused.value.problems] == [field]


def test_a_crane_that_stood_somewhere_leaves_after_it_came_too(yard: Yard) -> None:
    yard.place(JANUARY, FEBRUARY)
    with pytest.raises(RecordRefused) as refused:
        yard.place(MARCH, FEBRUARY)
    assert rules(refused) == {("end", "placement_end_is_after_start")}


def test_a_stay_that_never_was_makes_room(yard: Yard) -> None:
    standing = yard.place(JANUARY, None)
    withdraw_placement(placement=standing, recorded_at=yard.now, recorded_by=None)
    assert not CranePlacement.objects.current().exists()
    yard.place(JANUARY, None, site=yard.other_site)
