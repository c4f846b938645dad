"""Registering people and employers, employment, languages and accounts.

Every function raises :class:`registry.database.errors.RecordRefused` with the
problems field by field. ``recorded_at`` is the aware instant of recording,
``recorded_by`` who does it (``None``: an import).
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import date, datetime
from typing import Any

from django.db import connection, transaction

from registry.database.errors import Problem, RecordRefused, broken, hidden_in, refusals
from registry.database.repeating import repeating
from registry.language.plain_text import hidden_character, line
from registry.language.spelling import on_one_line, same_spelling
from registry.people.lookalikes import (
    Candidate,
    Lookalike,
    find_lookalikes,
    note_possible_twins,
    shown_to_employer,
)
from registry.people.models import Account, Employer, Employment, EmploymentConsent, LanguageSkill, Worker
from registry.people.names import name_key
from registry.people.telling import tell_workers


@repeating
def register_employer(
    *,
    name: str,
    jurisdiction: str,
    recorded_at: datetime,
    responsible_person: str = "",
    address: str = "",
) -> Employer:
    """Register an employer; ``jurisdiction`` is a code such as ``US``.

    Another spelling of a name that is known is refused.
    """
    name = on_one_line(name)
    if not name:
        raise RecordRefused([broken("employer_has_a_name")])
    with refusals(), transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended('employers', 0))")
        if known := same_spelling(name, Employer.objects.values_list("name", flat=True)):
            raise RecordRefused([broken("employer_is_registered_once", known=known)])
        return Employer.objects.create(
            name=name,
            jurisdiction=jurisdiction,
            responsible_person=responsible_person.strip(),
            address=address.strip(),
            recorded_at=recorded_at,
        )


@repeating
def register_worker(
    *,
    given_name: str,
    family_name: str,
    recorded_at: datetime,
    recorded_by: Account | None,
    date_of_birth: date | None = None,
    distinct_from: Collection[int] = (),
    told_to: Employer | None = None,
) -> Worker:
    """Register a person, unless they seem to be registered already.

    People who look the same (:mod:`registry.people.lookalikes`) are told to the registrar (``told_to`` ``None``), to
    an employer those that it knows. With the same name and date of birth it is the same person. Others are refused
    unless their ids are in ``distinct_from``: somebody looked, and said that it is another person. The registrar is
    asked only where a date of birth is missing. Whoever else looks the same is noted for the registrar, and nothing
    is said of them.
    """
    given_name, family_name = line(given_name), line(family_name)
    problems = [
        broken("worker_has_a_name", field)
        for field, value in (("given_name", given_name), ("family_name", family_name))
        if not value
    ]
    problems += [
        hidden_in(field, hidden)
        for field, value in (("given_name", given_name), ("family_name", family_name))
        if (hidden := hidden_character(value))
    ]
    if date_of_birth is not None and date_of_birth >= recorded_at.date():
        problems.append(broken("date_of_birth_is_past"))
    if problems:
        raise RecordRefused(problems)
    key = name_key(given_name, family_name)
    with refusals(), transaction.atomic():
        with connection.cursor() as cursor:
            # Two registrations of one name wait for each other; else neither would see the other.
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"worker {key}"])
        found = find_lookalikes([Candidate(given_name, family_name, date_of_birth)]).get(0, [])
        if problems := _same_person_problems(found, distinct_from, told_to):
            raise RecordRefused(problems)
        worker = _store_worker(given_name, family_name, date_of_birth, recorded_at, recorded_by)
        if found:
            note_possible_twins(
                found={worker: found}, told_apart=distinct_from, recorded_at=recorded_at, recorded_by=recorded_by
            )
        return worker


@repeating
def rehearse_worker(
    *,
    given_name: str,
    family_name: str,
    date_of_birth: date,
    told_to: Employer,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Worker:
    """Store a person in a transaction that will be rolled back, asking only whom ``told_to`` knows.

    For a dry run: it tells nothing of people on nobody's or another's books, and waits for nobody.
    """
    with refusals(), transaction.atomic():
        found = find_lookalikes([Candidate(given_name, family_name, date_of_birth)]).get(0, [])
        if problems := _same_person_problems(found, (), told_to):
            raise RecordRefused(problems)
        return _store_worker(given_name, family_name, date_of_birth, recorded_at, recorded_by)


def _store_worker(
    given_name: str,
    family_name: str,
    date_of_birth: date | None,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Worker:
    worker = Worker.objects.create(
        given_name=given_name,
        family_name=family_name,
        name_key=name_key(given_name, family_name),
        date_of_birth=date_of_birth,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )
    worker.refresh_from_db(fields=["number"])
    return worker


def _same_person_problems(
    found: Sequence[Lookalike], distinct_from: Collection[int], told_to: Employer | None
) -> list[Problem]:
    """Why this may be somebody who is registered already, of those who may be told of them."""
    problems = []
    for each in found if told_to is None else shown_to_employer(found, told_to):
        same_name, missing = each.likeness.names == "same_name", each.likeness.dates == "no_day"
        if each.worker.pk in distinct_from and not each.likeness.same:
            continue
        if each.likeness.same:
            rule = "worker_is_registered_once"
        elif same_name and missing:
            rule = "a_missing_date_of_birth_tells_nobody_apart"
        elif told_to is None:
            continue
        else:
            rule = "people_who_look_alike_are_told_apart"
        problems.append(broken(rule, person=f"{each.worker.number} {each.worker}"))
    return problems


@repeating
def employ(
    *,
    worker: Worker,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    end: date | None = None,
    consent: EmploymentConsent | None = None,
) -> Employment:
    """Record that the employer employs the worker from ``start`` through ``end``.

    Who is known to the register through others comes with a ``consent``
    (:mod:`registry.people.consent`), unless the registrar records it.
    """
    with refusals(), transaction.atomic():
        employment = Employment.objects.create(
            worker=worker,
            employer=employer,
            start=start,
            end=end,
            consent=consent,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        tell_workers([worker.pk], what="employed", at=recorded_at, by=recorded_by)
    return employment


@repeating
def take_on(
    *,
    given_name: str,
    family_name: str,
    date_of_birth: date | None,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    distinct_from: Collection[int] = (),
) -> Worker:
    """Register a person who is new to the register, and put them on the employer's books.

    Who is registered already is asked: :mod:`registry.people.consent`. ``distinct_from``
    as of :func:`register_worker`.
    """
    recording: dict[str, Any] = {"recorded_at": recorded_at, "recorded_by": recorded_by}
    with transaction.atomic():
        worker = register_worker(
            given_name=given_name,
            family_name=family_name,
            date_of_birth=date_of_birth,
            told_to=employer,
            distinct_from=distinct_from,
            **recording,
        )
        employ(worker=worker, employer=employer, start=start, **recording)
    return worker


def registered_as(number: str, given_name: str, family_name: str, date_of_birth: date | None) -> Worker:
    """The person of this number, if name and date of birth are theirs too. One refusal for all that may be wrong."""
    found = Worker.objects.filter(number=number.strip().upper(), date_of_birth=date_of_birth).first()
    if (
        found is None
        or date_of_birth is None
        or name_key(found.given_name, found.family_name) != name_key(given_name, family_name)
    ):
        raise RecordRefused([broken("number_name_and_birth_are_of_one_worker")])
    return found


@repeating
def record_language(
    *, worker: Worker, language: str, recorded_at: datetime, recorded_by: Account | None
) -> LanguageSkill:
    """Record that the worker can work in ``language`` (a tag such as ``en``)."""
    with refusals(), transaction.atomic():
        return LanguageSkill.objects.create(
            worker=worker, language=language, recorded_at=recorded_at, recorded_by=recorded_by
        )


@repeating
def open_account(
    *,
    username: str,
    password: str | None,
    kind: str,
    employer: Employer | None = None,
    worker: Worker | None = None,
    email: str = "",
    language: str = "",
) -> Account:
    """Create an account; without a password nobody can sign in by one."""
    with refusals(), transaction.atomic():
        return Account.objects.create_user(
            username=username,
            email=email,
            password=password,
            kind=kind,
            employer=employer,
            worker=worker,
            language=language,
        )
