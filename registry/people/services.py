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
from django.db.models import Exists, OuterRef, Q, Value
from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused, refusals
from registry.language.spelling import on_one_line, same_spelling
from registry.people.models import Account, Employer, Employment, LanguageSkill, Worker
from registry.people.names import name_key
from registry.people.telling import tell_workers


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
        return _store_worker(given_name, family_name, date_of_birth, recorded_at, recorded_by)


def rehearse_worker(
    *, given_name: str, family_name: str, date_of_birth: date, recorded_at: datetime, recorded_by: Account | None
) -> Worker:
    """Store a person in a transaction that will be rolled back, without asking who else is registered.

    For a dry run: it tells nothing of people on nobody's or another's books, and waits for nobody.
    """
    with refusals(), transaction.atomic():
        return _store_worker(given_name.strip(), family_name.strip(), date_of_birth, recorded_at, recorded_by)


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
    key: str, date_of_birth: date | None, distinct_from: Collection[int], told_to: Employer | None
) -> list[Problem]:
    """Why this may be somebody who is registered already; who it is, is told to whom it concerns.

    One statement, by an index, whatever number of people have the name.
    """
    alike = Worker.objects.filter(name_key=key)
    if date_of_birth is not None:
        alike = alike.filter(Q(date_of_birth=None) | Q(date_of_birth=date_of_birth))
    ever = Employment.objects.current().filter(worker=OuterRef("pk"), employer=told_to)
    problems = []
    for other in alike.annotate(concerns=Value(True) if told_to is None else Exists(ever)).order_by("id"):
        named = f"{other.number} {other}"
        if not other.concerns:
            sentence = _(
                "Somebody of this name and date of birth is registered already. If it is this person, give the"
                " number too, which stands on their transcript; else ask the registrar."
            )
            problems.append(Problem("number", "worker_is_registered_once", sentence))
        elif date_of_birth is not None and date_of_birth == other.date_of_birth:
            sentence = _("%(person)s has the same name and date of birth.") % {"person": named}
            problems.append(Problem("family_name", "worker_is_registered_once", sentence))
        elif other.pk not in distinct_from:
            sentence = _(
                "%(person)s has the same name and a date of birth is missing: say whether they are two people."
            ) % {"person": named}
            problems.append(Problem("family_name", "worker_is_registered_once", sentence))
    return problems


def employ(
    *,
    worker: Worker,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    end: date | None = None,
) -> Employment:
    """Record that the employer employs the worker from ``start`` through ``end``."""
    with refusals(), transaction.atomic():
        employment = Employment.objects.create(
            worker=worker, employer=employer, start=start, end=end, recorded_at=recorded_at, recorded_by=recorded_by
        )
        tell_workers([worker.pk], what="employed", at=recorded_at, by=recorded_by)
    return employment


def take_on(
    *,
    given_name: str,
    family_name: str,
    date_of_birth: date | None,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account | None,
    number: str = "",
) -> Worker:
    """Put a person on the employer's books, and register them first where no ``number`` says that they are.

    Name and date of birth are known to many; with the number a worker shows that
    the employer may have the record, which is open to it from then on.
    """
    recording: dict[str, Any] = {"recorded_at": recorded_at, "recorded_by": recorded_by}
    with transaction.atomic():
        if number.strip():
            worker = registered_as(number, given_name, family_name, date_of_birth)
        else:
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
