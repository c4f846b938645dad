"""Registering people and employers, employment, languages and accounts.

Every function raises :class:`registry.database.errors.RecordRefused` with the
problems field by field. ``recorded_at`` is the aware instant of recording,
``recorded_by`` who does it (``None``: an import).
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

from django.db import connection, transaction
from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused, refusals
from registry.language.spelling import on_one_line, same_spelling
from registry.people.models import Account, Employer, Employment, EmploymentConsent, LanguageSkill, Worker
from registry.people.names import name_key


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
        raise RecordRefused([Problem("name", "employer_has_a_name", _("Give the employer's name."))])
    with refusals(), transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended('employers', 0))")
        if known := same_spelling(name, Employer.objects.values_list("name", flat=True)):
            sentence = _("%(known)s is registered already.") % {"known": known}
            raise RecordRefused([Problem("name", "employer_is_registered_once", sentence)])
        return Employer.objects.create(
            name=name,
            jurisdiction=jurisdiction,
            responsible_person=responsible_person.strip(),
            address=address.strip(),
            recorded_at=recorded_at,
        )


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

    The same name with the same date of birth is refused. The same name where
    either date is missing is refused unless the other worker's id is in
    ``distinct_from``: somebody looked, and it is another person. Who else is
    registered is told to the registrar (``told_to`` ``None``); an employer is told
    of nobody that it never employed.
    """
    given_name, family_name = given_name.strip(), family_name.strip()
    problems = [
        Problem(field, "worker_has_a_name", _("Give the person's whole name."))
        for field, value in (("given_name", given_name), ("family_name", family_name))
        if not value
    ]
    if date_of_birth is not None and date_of_birth >= recorded_at.date():
        problems.append(Problem("date_of_birth", "date_of_birth_is_past", _("The date of birth lies in the future.")))
    if problems:
        raise RecordRefused(problems)
    key = name_key(given_name, family_name)
    with refusals(), transaction.atomic():
        with connection.cursor() as cursor:
            # Two registrations of one name wait for each other; else neither would see the other.
            cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"worker {key}"])
        same = _same_person_problems(key, date_of_birth, distinct_from, told_to)
        if same:
            raise RecordRefused(same)
        worker = Worker.objects.create(
            given_name=given_name,
            family_name=family_name,
            name_key=key,
            date_of_birth=date_of_birth,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        worker.refresh_from_db(fields=["number"])
        return worker


def _same_person_problems(
    key: str, date_of_birth: date | None, distinct_from: Collection[int], told_to: Employer | None
) -> list[Problem]:
    """Why this may be somebody who is registered already; who it is, is told to whom it concerns."""
    problems = []
    for other in Worker.objects.filter(name_key=key).order_by("id"):
        if told_to is not None and not _ever_employed(other, told_to):
            if date_of_birth is None or other.date_of_birth in (None, date_of_birth):
                sentence = _(
                    "This person cannot be registered here as new. If they have a number, which stands on their"
                    " transcript, ask them on this page; otherwise ask the registrar."
                )
                problems.append(Problem("number", "worker_is_registered_once", sentence))
            continue
        named = f"{other.number} {other}"
        if date_of_birth is None or other.date_of_birth is None:
            if other.pk in distinct_from:
                continue
            sentence = _(
                "%(person)s has the same name and a date of birth is missing: say whether they are two people."
            ) % {"person": named}
        elif date_of_birth == other.date_of_birth:
            sentence = _("%(person)s has the same name and date of birth.") % {"person": named}
        else:
            continue
        problems.append(Problem("family_name", "worker_is_registered_once", sentence))
    return problems


def _ever_employed(worker: Worker, employer: Employer) -> bool:
    return Employment.objects.current().filter(worker=worker, employer=employer).exists()


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
        return Employment.objects.create(
            worker=worker,
            employer=employer,
            start=start,
            end=end,
            consent=consent,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def take_on(
    *,
    given_name: str,
    family_name: str,
    date_of_birth: date | None,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Worker:
    """Register a person who is new to the register, and put them on the employer's books.

    Who is registered already is asked: :mod:`registry.people.consent`.
    """
    recording: dict[str, Any] = {"recorded_at": recorded_at, "recorded_by": recorded_by}
    with transaction.atomic():
        worker = register_worker(
            given_name=given_name,
            family_name=family_name,
            date_of_birth=date_of_birth,
            told_to=employer,
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
        sentence = _("Nobody is registered with this number, name and date of birth.")
        raise RecordRefused([Problem("number", "worker_is_registered", sentence)])
    return found


def record_language(
    *, worker: Worker, language: str, recorded_at: datetime, recorded_by: Account | None
) -> LanguageSkill:
    """Record that the worker can work in ``language`` (a tag such as ``en``)."""
    with refusals(), transaction.atomic():
        return LanguageSkill.objects.create(
            worker=worker, language=language, recorded_at=recorded_at, recorded_by=recorded_by
        )


def open_account(
    *,
    username: str,
    password: str | None,
    kind: str,
    employer: Employer | None = None,
    worker: Worker | None = None,
    email: str = "",
) -> Account:
    """Create an account; without a password nobody can sign in by one."""
    with refusals(), transaction.atomic():
        return Account.objects.create_user(
            username=username, email=email, password=password, kind=kind, employer=employer, worker=worker
        )
