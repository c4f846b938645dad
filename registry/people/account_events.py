"""What happened to an account, recorded and told to its holder: opened, second factor, password, address."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction
from django.db.models import Q, QuerySet

from registry.database.errors import refusals
from registry.database.repeating import repeating
from registry.people import telling
from registry.people.models import Account, AccountEvent


@repeating
def record_event(*, account: Account, what: str, at: datetime, by: Account | None) -> AccountEvent:
    """Record what happened to the account, and tell its holder by mail.

    ``what`` is one of :attr:`AccountEvent.KINDS`, ``by`` the account that did it
    (``None``: the command line, or nobody who was signed in). Raises :class:`RecordRefused`.
    """
    with refusals(), transaction.atomic():
        event = AccountEvent.objects.create(account=account, what=what, recorded_at=at, recorded_by=by)
        telling.tell_account(account, what=what, at=at, by=telling.by_whom(by, own=account))
    return event


def events_of(account: Account) -> QuerySet[AccountEvent]:
    """What happened to the account, and to earlier accounts of the same worker; latest first."""
    whose = Q(account=account)
    if account.worker_id is not None:
        whose |= Q(account__worker=account.worker_id)
    return AccountEvent.objects.filter(whose).select_related("account", "recorded_by").order_by("-recorded_at", "-id")
