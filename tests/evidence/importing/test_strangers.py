"""Of people who are not on the importing employer's books a table tells nothing, whoever brings it in."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from registry.evidence.importing import ImportReport
from registry.people.models import Account, Employment, Worker
from registry.people.services import employ, open_account, register_employer, register_worker
from tests.evidence.importing.conftest import NOW, Yard
from tests.evidence.importing.tables import as_csv

BORN = date(1988, 2, 29)


@pytest.fixture
def stranger(yard: Yard) -> Worker:
    """Ida Moor, on the books of another employer."""
    other = register_employer(name="Cormorant Lift Yard", jurisdiction="US", recorded_at=NOW)
    ida = register_worker(given_name="Ida", family_name="Moor", date_of_birth=BORN, recorded_at=NOW, recorded_by=None)
    employ(worker=ida, employer=other, start=date(2020, 1, 1), recorded_at=NOW, recorded_by=None)
    return ida


@pytest.fixture
def dispatcher(yard: Yard) -> Account:
    return open_account(username="dispatcher", password=None, kind="employer", employer=yard.employer)


def row(born: date = BORN, **cells: Any) -> dict[str, Any]:
    return {
        "Given name": "Ida",
        "Family name": "Moor",
        "Date of birth": born.isoformat(),
        "Employed from": "2024-01-08",
    } | cells


def told(report: ImportReport) -> tuple[Any, ...]:
    """Everything that whoever asked can read, but for what they typed."""
    return (
        (report.rows, report.new, report.already_there, report.refused, report.written),
        [(each.row, each.field, each.rule, each.message) for each in report.problems],
    )


@pytest.mark.parametrize("by_account", [True, False], ids=["page", "command"])
def test_a_dry_run_does_not_tell_who_was_born_when(
    yard: Yard, stranger: Worker, dispatcher: Account, by_account: bool
) -> None:
    who = dispatcher if by_account else None
    days = [BORN + timedelta(days=each) for each in (-1, 0, 1)]
    answers = [told(yard.bring_in("workers", as_csv([row(day)]), dry_run=True, recorded_by=who)) for day in days]
    assert answers == [((1, 1, 0, 0, False), [])] * 3
    assert Employment.objects.filter(worker=stranger).count() == 1


@pytest.mark.parametrize("by_account", [True, False], ids=["page", "command"])
def test_an_import_does_not_tell_either(yard: Yard, stranger: Worker, dispatcher: Account, by_account: bool) -> None:
    who = dispatcher if by_account else None
    answers = [
        told(yard.bring_in("workers", as_csv([row(born)]), recorded_by=who)) for born in (BORN, date(1971, 6, 17))
    ]
    assert answers == [((1, 1, 0, 0, True), [])] * 2
    assert Employment.objects.filter(worker=stranger).count() == 1


@pytest.mark.parametrize("by_account", [True, False], ids=["page", "command"])
@pytest.mark.parametrize("dry_run", [True, False])
def test_a_number_is_refused_alike_whether_it_is_somebodys_or_not(
    yard: Yard, stranger: Worker, dispatcher: Account, by_account: bool, dry_run: bool
) -> None:
    who = dispatcher if by_account else None
    numbers = {"right": (stranger.number, BORN), "another's day": (stranger.number, date(1990, 1, 1))}
    numbers["nobody's"] = ("W-999999", BORN)
    answers = {}
    for name, (number, born) in numbers.items():
        content = as_csv([row(born, **{"Worker number": number})])
        answers[name] = told(yard.bring_in("workers", content, dry_run=dry_run, recorded_by=who))
    assert answers["right"] == answers["another's day"] == answers["nobody's"]
    assert answers["right"][1][0][2] == "worker_is_on_the_books"
    assert Employment.objects.filter(worker=stranger).count() == 1


@pytest.mark.parametrize("by_account", [True, False], ids=["page", "command"])
@pytest.mark.parametrize("part", ["worker", "countersigner"])
def test_hours_name_nobody_who_is_not_on_the_books(
    yard: Yard, stranger: Worker, dispatcher: Account, by_account: bool, part: str
) -> None:
    who = dispatcher if by_account else None

    def answer(named: str, **more: Any) -> Any:
        report = yard.bring_in("hours", as_csv([yard.hours(**{part: named}, **more)]), dry_run=True, recorded_by=who)
        return [(each.rule, each.message.replace(named, "…")) for each in report.problems]

    assert answer(stranger.number) == answer("W-999999")
    assert answer(stranger.number)[0][0] == "worker_is_registered"
    born = {f"{part} date of birth".replace("worker date", "date"): BORN.isoformat()}
    if part == "countersigner":
        born = {"countersigner born": BORN.isoformat()}
    assert answer("Ida Moor", **born) == answer("Ida Mohr", **born)


def test_people_who_left_are_still_the_commands_to_name(yard: Yard) -> None:
    left = register_worker(given_name="Ole", family_name="Gran", date_of_birth=BORN, recorded_at=NOW, recorded_by=None)
    employ(
        worker=left,
        employer=yard.employer,
        start=date(2019, 1, 1),
        end=date(2026, 4, 1),
        recorded_at=NOW,
        recorded_by=None,
    )
    assert yard.bring_in("hours", as_csv([yard.hours(worker=left.number)]), dry_run=True).refused == 0


def test_a_table_cannot_try_one_day_after_the_other(yard: Yard, stranger: Worker, dispatcher: Account) -> None:
    # So far apart that they do not look like each other.
    days = [BORN + timedelta(days=each * 777) for each in range(1, 16)]
    report = yard.bring_in("workers", as_csv([row(day) for day in days]), recorded_by=dispatcher)
    assert (report.rows, report.new, report.written) == (15, 2, False)
    assert {each.rule for each in report.problems} == {"namesakes_are_taken_on_one_by_one"}
    # Nor by writing the name in other ways.
    rows = [row(days[0]), row(days[1], **{"Given name": "IDA"}), row(days[2], **{"Family name": "Moór"})]
    assert yard.bring_in("workers", as_csv(rows), recorded_by=dispatcher).refused == 1
