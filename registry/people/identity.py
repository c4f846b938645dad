"""Who was seen by somebody from outside the firm: identity checks, and the accounts that still lack one.

An account opened through an employer's mail rests on that employer's word alone:
the address may be anybody's. It is marked so wherever its signatures are shown,
until the registrar or an inspector records that they saw the person.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.people import telling
from registry.people.models import Account, IdentityCheck, Invitation

CHECKERS = ("registrar", "inspector")


@repeating
def check_identity(*, account: Account, looked_at: str, checked_at: datetime, checked_by: Account) -> IdentityCheck:
    """Record that ``checked_by`` saw the person behind the account, and what they looked at. No copy is kept.

    Raises :class:`RecordRefused` unless ``checked_by`` is a registrar's or an inspector's account.
    """
    require_checker(checked_by)
    with refusals(), transaction.atomic():
        check = IdentityCheck.objects.create(
            account=account, looked_at=looked_at.strip(), recorded_at=checked_at, recorded_by=checked_by
        )
        telling.tell_account(account, what="identity_checked", at=checked_at, by=telling.ANOTHER_ACCOUNT)
    return check


def require_checker(account: Account) -> None:
    """Raise :class:`RecordRefused` unless the account is a registrar's or an inspector's."""
    if account.kind not in CHECKERS:
        raise RecordRefused([broken("an_identity_is_checked_from_outside")])


def unchecked_invitations() -> QuerySet[Invitation]:
    """The invitations that opened accounts, still open, that nobody outside the inviting firm has checked."""
    checks = IdentityCheck.objects.filter(account=OuterRef("account"))
    opened = Invitation.objects.filter(
        ~Exists(checks), invited_by__kind="employer", account__isnull=False, account__is_active=True
    )
    return opened.select_related("account__worker", "account__employer", "invited_by__employer").order_by(
        "-accepted_at", "-id"
    )


@as_the_register()
def unchecked_among(accounts: Iterable[int | None]) -> dict[int, str]:
    """Of these accounts those that only a firm's invitation stands for, each with the firm's name. One statement."""
    wanted = {each for each in accounts if each is not None}
    if not wanted:
        return {}
    rows = unchecked_invitations().filter(account__in=wanted).values_list("account", "invited_by__employer__name")
    return dict(rows)


@as_the_register()
def unchecked_workers(workers: Iterable[int]) -> dict[int, str]:
    """Of these workers those whose open account only a firm's invitation stands for, with the firm's name."""
    rows = unchecked_invitations().filter(account__worker__in=set(workers))
    return dict(rows.values_list("account__worker", "invited_by__employer__name"))
