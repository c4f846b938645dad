"""Closing an account: whoever leaves signs in no more, and who closed it, when and why stays on record.

Recording it is what closes the account, for good; the database holds the same
rules (``sql/closing.sql``). Somebody who comes back is invited again, a worker by the registrar. With the
account end its sessions and the invitations it sent that nobody has accepted:
whoever leaves does not let themself in again by a link made beforehand.
"""

from __future__ import annotations

from datetime import datetime

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from registry.database.errors import Problem, RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.people import telling
from registry.people.models import Account, ClosedAccount, Employer
from registry.people.registrars import is_registrar
from registry.people.second_factor import SECOND_FACTORS


@repeating
def close_account(*, account: Account, closed_at: datetime, closed_by: Account | None, reason: str) -> ClosedAccount:
    """Close an account at once and for good, and end its sessions.

    A registrar may close any; ``closed_by`` is ``None`` at the machine before there is one.
    Raises :class:`RecordRefused` for a blank reason and as :func:`require_closable`.
    """
    require_closable(account=account, closed_by=closed_by)
    with refusals(), transaction.atomic():
        closing = ClosedAccount.objects.create(
            account=account, reason=reason.strip(), recorded_at=closed_at, recorded_by=closed_by
        )
        for session in UserSession.objects.filter(user=account):
            session.end()
        telling.tell_account(account, what="closed", at=closed_at, by=telling.by_whom(closed_by, own=account))
    account.refresh_from_db(fields=["is_active"])
    return closing


def require_closable(*, account: Account, closed_by: Account | None) -> None:
    """Raise :class:`RecordRefused` where the account is closed already or is not ``closed_by``'s to close.

    A dispatcher closes those of other dispatchers of the same employer. Nobody
    closes their own, so an employer's last is closed by the registrar alone, as
    are everybody else's: a worker's account is the worker's own.
    """
    problem = _problem(account, closed_by)
    if problem is not None:
        raise RecordRefused([problem])


def _problem(account: Account, closed_by: Account | None) -> Problem | None:
    if not account.is_active:
        return broken("an_account_is_closed_once")
    if closed_by is None:
        return None
    if closed_by == account:
        return broken("nobody_closes_their_own_account")
    if is_registrar(closed_by):
        return None
    if closed_by.kind != "employer" or closed_by.employer_id != account.employer_id:
        return broken("dispatchers_close_accounts_of_their_own_employer")
    return None


def dispatchers_of(employer: Employer) -> QuerySet[Account]:
    """The employer's open accounts by name, each with whether it has a second factor (``second_factor``)."""
    authenticators = Authenticator.objects.filter(user=OuterRef("pk"), type__in=SECOND_FACTORS)
    accounts = Account.objects.filter(employer=employer, is_active=True).order_by("username")
    return accounts.annotate(second_factor=Exists(authenticators))


def closings_at(employer: Employer) -> QuerySet[ClosedAccount]:
    """The closings of the employer's accounts, latest first."""
    closings = ClosedAccount.objects.filter(account__employer=employer).select_related("account", "recorded_by")
    return closings.order_by("-recorded_at", "-id")
