"""Registering people; times of recording are the present, as the database insists."""

from datetime import date, datetime, timedelta

import pytest
from django.utils import timezone

from registry.database.errors import RecordRefused
from registry.people.models import Employer, Employment, Worker
from registry.people.services import employ, open_account, record_language, register_employer, register_worker

pytestmark = pytest.mark.django_db

BORN = date(1990, 5, 17)


@pytest.fixture
def now() -> datetime:
    return timezone.now()


@pytest.fixture
def employer(now: datetime) -> Employer:
    return register_employer(name="Northern Hoist", jurisdiction="US", recorded_at=now)


def register(
    now: datetime, given: str, family: str, born: date | None = None, distinct_from: tuple[int, ...] = ()
) -> Worker:
    return register_worker(
        given_name=given,
        family_name=family,
        date_of_birth=born,
        distinct_from=distinct_from,
        recorded_at=now,
        recorded_by=None,
    )


def rules(refused: pytest.ExceptionInfo[RecordRefused]) -> set[tuple[str, str]]:
    return {(each.field, each.rule) for each in refused.value.problems}


def test_the_database_numbers_workers(now: datetime) -> None:
    first, second = register(now, "Ana", "Lind"), register(now, "Bo", "Stone")
    assert first.number.startswith("W-")
    assert int(second.number[2:]) == int(first.number[2:]) + 1


@pytest.mark.parametrize(("given", "family"), [("Zoe", "Ana-Lind"), ("ZOË", "ana lind"), ("Ana Lind", "Zoë")])
def test_one_person_is_registered_once_however_the_name_is_written(now: datetime, given: str, family: str) -> None:
    known = register(now, "Zoë", "Ana-Lind", BORN)
    with pytest.raises(RecordRefused, match=known.number) as refused:
        register(now, given, family, BORN)
    assert rules(refused) == {("family_name", "worker_is_registered_once")}
    assert Worker.objects.count() == 1


def test_another_date_of_birth_is_another_person(now: datetime) -> None:
    register(now, "Zoë", "Lind", BORN)
    register(now, "Zoë", "Lind", BORN + timedelta(days=1))
    assert Worker.objects.count() == 2


@pytest.mark.parametrize(("known_born", "born"), [(None, BORN), (BORN, None), (None, None)])
def test_a_missing_date_of_birth_needs_somebody_to_look(
    now: datetime, known_born: date | None, born: date | None
) -> None:
    known = register(now, "Zoë", "Lind", known_born)
    with pytest.raises(RecordRefused, match="date of birth is missing"):
        register(now, "Zoë", "Lind", born)
    register(now, "Zoë", "Lind", born, distinct_from=(known.pk,))
    assert Worker.objects.count() == 2


def test_who_looked_cannot_overrule_an_equal_date_of_birth(now: datetime) -> None:
    known = register(now, "Zoë", "Lind", BORN)
    with pytest.raises(RecordRefused, match="same name and date of birth"):
        register(now, "Zoë", "Lind", BORN, distinct_from=(known.pk,))


def test_problems_name_their_fields(now: datetime) -> None:
    with pytest.raises(RecordRefused) as refused:
        register(now, " ", "Lind", now.date() + timedelta(days=1))
    assert rules(refused) == {("given_name", "worker_has_a_name"), ("date_of_birth", "date_of_birth_is_past")}


def test_employment_ends_after_it_starts(now: datetime, employer: Employer) -> None:
    worker = register(now, "Ana", "Lind")
    with pytest.raises(RecordRefused) as refused:
        employ(
            worker=worker,
            employer=employer,
            start=date(2026, 2, 1),
            end=date(2026, 1, 31),
            recorded_at=now,
            recorded_by=None,
        )
    assert rules(refused) == {("end", "employment_does_not_end_before_it_starts")}
    assert not Employment.objects.exists()


@pytest.mark.parametrize("language", ["", "English", "e", "en_US"])
def test_a_language_is_a_tag(now: datetime, language: str) -> None:
    worker = register(now, "Ana", "Lind")
    with pytest.raises(RecordRefused) as refused:
        record_language(worker=worker, language=language, recorded_at=now, recorded_by=None)
    assert rules(refused) == {("language", "language_is_a_bcp_47_tag")}


def test_an_account_is_what_its_kind_says(now: datetime, employer: Employer) -> None:
    worker = register(now, "Ana", "Lind")
    open_account(username="planner", password=None, kind="employer", employer=employer)
    open_account(username="ana", password=None, kind="worker", worker=worker)
    open_account(username="visitor", password=None, kind="inspector")


@pytest.mark.parametrize(
    ("kind", "with_employer", "with_worker"),
    [
        ("employer", False, False),
        ("employer", True, True),
        ("worker", False, False),
        ("worker", True, False),
        ("inspector", True, False),
        ("registrar", False, True),
        ("somebody", False, False),
    ],
)
def test_an_account_that_does_not_fit_its_kind_is_refused(
    now: datetime, employer: Employer, kind: str, with_employer: bool, with_worker: bool
) -> None:
    worker = register(now, "Ana", "Lind")
    with pytest.raises(RecordRefused) as refused:
        open_account(
            username="somebody",
            password=None,
            kind=kind,
            employer=employer if with_employer else None,
            worker=worker if with_worker else None,
        )
    assert rules(refused) == {("kind", "account_kind_fits_what_it_is_for")}


@pytest.mark.parametrize("day", [date(1, 1, 1), date(1899, 12, 31), date(2200, 1, 1), date(9999, 12, 31)])
def test_employment_is_in_years_that_people_enter(now: datetime, employer: Employer, day: date) -> None:
    worker = register(now, "Zoë", "Lind")
    with pytest.raises(RecordRefused) as refused:
        employ(worker=worker, employer=employer, start=day, recorded_at=now, recorded_by=None)
    assert rules(refused) == {("start", "employment_starts_in_a_year_people_enter")}
    if day.year > 2199:
        with pytest.raises(RecordRefused) as refused:
            employ(worker=worker, employer=employer, start=date(2020, 1, 1), end=day, recorded_at=now, recorded_by=None)
        assert rules(refused) == {("end", "employment_ends_in_a_year_people_enter")}


def test_nobody_was_born_before_people_enter_it(now: datetime) -> None:
    with pytest.raises(RecordRefused) as refused:
        register(now, "Zoë", "Lind", date(1, 1, 1))
    assert rules(refused) == {("date_of_birth", "date_of_birth_is_in_a_year_people_enter")}
