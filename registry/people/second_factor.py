"""The second factor: an authenticator app's code or a passkey, beside the password."""

from __future__ import annotations

from allauth.mfa.models import Authenticator
from allauth.mfa.utils import encrypt

from registry.database.repeating import repeating
from registry.people.models import Account

SECOND_FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
# Kinds of account that are never used without one; assessors are found by their appointment.
COMPULSORY_KINDS = ("employer", "inspector", "registrar")


def has_second_factor(account: Account) -> bool:
    """Has an authenticator app or a passkey; recovery codes alone are none."""
    return Authenticator.objects.filter(user=account, type__in=SECOND_FACTORS).exists()


@repeating
def enrol_authenticator_app(*, account: Account, secret: str) -> None:
    """Set up the authenticator app that holds ``secret`` (base32), unless the account has one."""
    Authenticator.objects.get_or_create(
        user=account, type=Authenticator.Type.TOTP, defaults={"data": {"secret": encrypt(secret)}}
    )


def remove_second_factors(*, account: Account) -> int:
    """Remove every authenticator of somebody who has lost them; returns how many there were."""
    removed, _kinds = Authenticator.objects.filter(user=account).delete()
    return removed
