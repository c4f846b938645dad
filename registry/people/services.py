"""Registering people and employers, employment, languages and accounts.

Every function raises :class:`registry.database.errors.RecordRefused` with the problems field by field.
``recorded_at`` is the aware instant of recording, ``recorded_by`` who does it (``None``: an import).
"""

from __future__ import annotations

import re
from collections.abc import Collection
from datetime import date, datetime

from django.db import connection

from registry.database.errors import Problem, problem, recording, refuse_if
from registry.people.models import (
    JURISDICTION,
    LANGUAGE_TAG,
    Account,
    Employer,
    Employment,
    LanguageSkill,
    Worker,
)
from registry.people.names import name_key
from registry.people.records import blank_problems, correction_of, correction_problems


def register_employer(
    *,
    name: str,
    jurisdiction: str,
    responsible_person: str = "",
    address: str = "",
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Employer:
    """Register an employer; ``jurisdiction`` is a code such as ``US``."""
    problems = blank_problems("employer_has_a_name", {"name": name})
    if not re.match(JURISDICTION, jurisdiction):
        problems.append(problem("employer_jurisdiction_is_a_code"))
    refuse_if(problems)
    with recording():
        return Employer.objects.create(
            name=name.strip(),
            jurisdiction=jurisdiction,
            responsible_person=responsible_person.strip(),
            address=address.strip(),
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def register_worker(
    *,
    given_name: str,
    family_name: str,
    date_of_birth: date | None = None,
    number: str | None = None,
    distinct_from: Collection[int] = (),
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Worker:
    """Register a person, unless they seem to be registered already.

    The same name with the same date of birth is refused. The same name where either date is missing is
    refused unless the other worker's id is in ``distinct_from``: somebody looked, and it is another person.
    Without ``number`` the database draws one.
    """
    given_name, family_name = given_name.strip(), family_name.strip()
    refuse_if(blank_problems("worker_has_a_name", {"given_name": given_name, "family_name": family_name}))
    with recording():
        refuse_if(_duplicate_problems(given_name, family_name, date_of_birth, distinct_from))
        worker = Worker(
            given_name=given_name,
            family_name=family_name,
            date_of_birth=date_of_birth,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )
        if number is not None:
            worker.number = number
        worker.save(force_insert=True)
        return worker


def _duplicate_problems(
    given_name: str, family_name: str, date_of_birth: date | None, distinct_from: Collection[int]
) -> list[Problem]:
    key = name_key(given_name, family_name)
    with connection.cursor() as cursor:
        # Two registrations of one name wait for each other; otherwise neither would see the other.
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"worker {key}"])
    problems = []
    for other in Worker.objects.filter(name_key=key).order_by("id"):
        named = f"{other.number} {other.name}"
        if date_of_birth is None or other.date_of_birth is None:
            if other.pk not in distinct_from:
                sentence = f"{named} has the same name, and a date of birth is missing; confirm that they are two people."
                problems.append(problem("worker_is_not_a_likely_duplicate", message=sentence))
        elif date_of_birth == other.date_of_birth:
            sentence = f"{named} has the same name and date of birth."
            problems.append(problem("worker_is_not_a_likely_duplicate", message=sentence))
    return problems


def employ(
    *,
    worker: Worker,
    employer: Employer,
    start: date,
    end: date | None = None,
    recorded_at: datetime,
    recorded_by: Account | None,
) -> Employment:
    """Record that the employer employs the worker from ``start`` through ``end``."""
    employment = Employment(
        worker=worker, employer=employer, start=start, end=end, recorded_at=recorded_at, recorded_by=recorded_by
    )
    refuse_if(employment_problems(employment))
    with recording():
        employment.save(force_insert=True)
    return employment


def end_employment(
    *, employment: Employment, end: date, recorded_at: datetime, recorded_by: Account | None
) -> Employment:
    """Record the last day, as a correction of the employment."""
    refuse_if(correction_problems(employment, recorded_at=recorded_at))
    ended = correction_of(employment, recorded_at=recorded_at, recorded_by=recorded_by, changes={"end": end})
    refuse_if(employment_problems(ended))
    with recording():
        ended.save(force_insert=True)
    return ended


def record_language(
    *, worker: Worker, language: str, recorded_at: datetime, recorded_by: Account | None
) -> LanguageSkill:
    """Record that the worker can work in ``language`` (a tag such as ``en`` or ``pt-BR``)."""
    skill = LanguageSkill(worker=worker, language=language, recorded_at=recorded_at, recorded_by=recorded_by)
    refuse_if(language_problems(skill))
    with recording():
        skill.save(force_insert=True)
    return skill


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
    problems = []
    if kind not in Account.Kind.values:
        problems.append(problem("account_kind_is_known"))
    if (kind == Account.Kind.EMPLOYER) != (employer is not None):
        problems.append(problem("employer_account_names_its_employer"))
    if (kind == Account.Kind.WORKER) != (worker is not None):
        problems.append(problem("worker_account_names_its_worker"))
    refuse_if(problems)
    with recording():
        return Account.objects.create_user(
            username=username, email=email, password=password, kind=kind, employer=employer, worker=worker
        )


def employment_problems(employment: Employment) -> list[Problem]:
    """What is wrong with an employment before it is stored."""
    if employment.end is not None and employment.end < employment.start:
        return [problem("employment_end_is_not_before_start")]
    return []


def language_problems(skill: LanguageSkill) -> list[Problem]:
    """What is wrong with a language skill before it is stored."""
    return [] if re.match(LANGUAGE_TAG, skill.language) else [problem("language_is_a_tag")]
