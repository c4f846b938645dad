"""Addresses for mail: whose they are, and changing one's own.

Two spellings of one box are one address: case does not matter, nor what follows a
plus sign. The database compares them by the same rule (``sql/accounts.sql``).
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from allauth.account.models import EmailAddress
from django.db import transaction
from django.db.models import CharField, F, Func, Q, QuerySet, Value

from registry.database.errors import Problem, broken, refusals
from registry.database.repeating import repeating
from registry.people import telling
from registry.people.account_events import record_event
from registry.people.models import Account, Employer, Invitation, Worker


def address_key(value: Any) -> Func:
    """The box that an address (an expression) leads to."""
    return Func(value, function="people_address_key", output_field=CharField())


def _with_address(rows: QuerySet[Any], field: str, address: str) -> QuerySet[Any]:
    with_one = rows.exclude(**{field: ""}).annotate(box=address_key(F(field)))
    found: QuerySet[Any] = with_one.filter(box=address_key(Value(address)))
    return found


def invited_address_problems(
    address: str, *, kind: str, employer: Employer | None, worker: Worker | None
) -> list[Problem]:
    """Why an invitation may not go to ``address``: it is somebody else's here, whoever that is.

    The inviter's own address is that of an account too. What somebody else was
    invited with stays theirs, also where they never followed the link.
    """
    accounts = _with_address(Account.objects.all(), "email", address)
    invitations = _with_address(Invitation.objects.all(), "address", address)
    if worker is not None:
        accounts = accounts.filter(Q(worker__isnull=True) | ~Q(worker=worker))
        invitations = invitations.filter(Q(worker__isnull=True) | ~Q(worker=worker))
    else:
        invitations = invitations.exclude(kind=kind, employer=employer)
    if accounts.exists() or invitations.exists():
        return [broken("an_invitation_goes_to_the_persons_own_address")]
    return []


@repeating
def change_address(*, account: Account, address: str, changed_at: datetime) -> None:
    """Change the address an account is written to; both addresses are told.

    Only the account's own holder does it, who has just confirmed that it is them.
    """
    before = account.email
    if address == before:
        return
    with refusals(), transaction.atomic():
        Account.objects.filter(pk=account.pk).update(email=address)
        # By an address kept there a forgotten password could still be set.
        EmailAddress.objects.filter(user_id=account.pk).delete()
        account.email = address
        record_event(account=account, what="address_changed", at=changed_at, by=account)
        telling.tell_account(account, what="address_changed", at=changed_at, by=telling.OWN_ACCOUNT, address=before)
