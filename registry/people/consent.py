"""Taking on somebody who is registered already: with that person's consent, or by the registrar.

Until somebody consents nothing of them is an employer's: not shown, not counted,
not barrable. An employer asks by number, family name and date of birth and always
hears the same; or it types a code that the person made and handed over. The database
holds the same rules (``sql/consent.sql``).

Functions raise :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.people.models import (
    Account,
    Employer,
    Employment,
    EmploymentCode,
    EmploymentConsent,
    EmploymentDecline,
    EmploymentRequest,
    Worker,
)
from registry.people.names import name_key
from registry.people.services import employ

CODE_LASTS = timedelta(days=3)
LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""No letter or digit that is read as another one."""
CODE_LENGTH = 12
REQUEST_LASTS = timedelta(days=30)


@dataclass(frozen=True, slots=True)
class NewCode:
    """A code as it is handed over; it exists only here."""

    made: EmploymentCode
    code: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A request as the employer that made it knows it: what was typed, not whether anybody fitted."""

    number: str
    start: date
    at: datetime


@repeating
def ask(
    *,
    number: str,
    family_name: str,
    date_of_birth: date,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account,
) -> None:
    """Ask somebody who is registered to come onto the employer's books. Nothing tells whether anybody fits."""
    number = number.strip().upper()
    with refusals(), transaction.atomic():
        EmploymentRequest.objects.create(
            employer=employer,
            worker=person_who_fits(number, family_name, date_of_birth),
            number=number,
            start=start,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def person_who_fits(number: str, family_name: str, date_of_birth: date | None = None) -> Worker | None:
    """The person of this number whose family name, and date of birth where one is given, fit too."""
    found = Worker.objects.filter(number=number.strip().upper()).first()
    if found is None or not family_name.strip() or name_key("", found.family_name) != name_key("", family_name):
        return None
    return found if date_of_birth in (None, found.date_of_birth) else None


@as_the_register()
def asked_by(employer: Employer, *, at: datetime, most: int) -> list[Asked]:
    """What the employer asked in the last 30 days, newest first, the same whether or not anybody fits or declined."""
    made = EmploymentRequest.objects.filter(employer=employer, recorded_at__gt=at - REQUEST_LASTS)
    rows = (
        made.filter(consent__isnull=True).order_by("-recorded_at", "-id").values_list("number", "start", "recorded_at")
    )
    return [Asked(*row) for row in rows[:most]]


def open_requests_of(worker: Worker, *, at: datetime) -> list[EmploymentRequest]:
    """The requests that wait for the worker, the latest of each employer."""
    waiting = EmploymentRequest.objects.filter(
        worker=worker, consent__isnull=True, decline__isnull=True, recorded_at__gt=at - REQUEST_LASTS
    )
    latest: dict[int, EmploymentRequest] = {}
    for each in waiting.select_related("employer").order_by("recorded_at", "id"):
        latest[each.employer_id] = each
    return list(latest.values())


@repeating
def accept(*, request: EmploymentRequest, recorded_at: datetime, recorded_by: Account) -> Employment:
    """The worker agrees: they are on the employer's books from the day it asked for."""
    if request.worker is None:
        raise RecordRefused([broken("consent_is_the_persons_own")])
    return _taken_on(
        worker=request.worker,
        employer=request.employer,
        start=request.start,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
        how="own_account",
        request=request,
    )


@repeating
def decline(*, request: EmploymentRequest, recorded_at: datetime, recorded_by: Account) -> EmploymentDecline:
    """The worker does not agree. The employer is not told."""
    with refusals(), transaction.atomic():
        return EmploymentDecline.objects.create(request=request, recorded_at=recorded_at, recorded_by=recorded_by)


@repeating
def make_code(*, worker: Worker, employer: Employer | None, start: date, at: datetime, made_by: Account) -> NewCode:
    """A code by which an employer (``None``: whichever has it) takes the worker on once, from ``start`` or later."""
    code = "".join(secrets.choice(LETTERS) for _each in range(CODE_LENGTH))
    with refusals(), transaction.atomic():
        made = EmploymentCode.objects.create(
            worker=worker,
            employer=employer,
            start=start,
            code_hash=_hash(code),
            expires_at=at + CODE_LASTS,
            recorded_at=at,
            recorded_by=made_by,
        )
    return NewCode(made, "-".join(code[place : place + 4] for place in range(0, CODE_LENGTH, 4)))


def codes_of(worker: Worker, *, at: datetime) -> QuerySet[EmploymentCode]:
    """The worker's codes that can still be used."""
    made = EmploymentCode.objects.filter(worker=worker, expires_at__gt=at, consent__isnull=True)
    return made.select_related("employer").order_by("-recorded_at")


@repeating
def redeem(*, code: str, employer: Employer, start: date, recorded_at: datetime, recorded_by: Account) -> Employment:
    """Take on whoever made the code. One refusal for all that may be wrong with it."""
    typed = "".join(each for each in code.upper() if each.isalnum())
    with transaction.atomic():
        made = EmploymentCode.objects.select_related("worker").filter(code_hash=_hash(typed)).first()
        usable = (
            made is not None
            and made.employer_id in (None, employer.pk)
            and made.expires_at > recorded_at
            and not EmploymentConsent.objects.filter(code=made).exists()
        )
        if made is None or not usable:
            raise RecordRefused([broken("people_employmentconsent_code_id_key")])
        if start < made.start:
            raise RecordRefused([broken("a_code_is_good_from_its_day")])
        return _taken_on(
            worker=made.worker,
            employer=employer,
            start=start,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
            how="code",
            code=made,
            code_typed=typed,
        )


@repeating
def record_for_registrar(
    *, worker: Worker, employer: Employer, start: date, reason: str, recorded_at: datetime, recorded_by: Account
) -> Employment:
    """The registrar records an employment; ``reason`` says what showed that both agree."""
    return _taken_on(
        worker=worker,
        employer=employer,
        start=start,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
        how="registrar",
        reason=reason.strip(),
    )


def _taken_on(
    *,
    worker: Worker,
    employer: Employer,
    start: date,
    recorded_at: datetime,
    recorded_by: Account,
    **given: Any,
) -> Employment:
    with refusals(), transaction.atomic():
        consent = EmploymentConsent.objects.create(
            worker=worker,
            employer=employer,
            start=start,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
            **given,
        )
        return employ(
            worker=worker,
            employer=employer,
            start=start,
            consent=consent,
            recorded_at=recorded_at,
            recorded_by=recorded_by,
        )


def _hash(code: str) -> str:
    return hashlib.sha256(code.encode()).hexdigest()
