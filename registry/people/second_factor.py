"""The second factor: an authenticator app's code or a passkey, beside the password.

Whoever countersigns or assesses has one at that moment; the database holds the
same rule (``evidence/sql/signing.sql``).
"""

from __future__ import annotations

from datetime import datetime

from allauth.mfa.models import Authenticator
from allauth.mfa.utils import decrypt, encrypt
from django.db import transaction

from registry.database.errors import RecordRefused, broken
from registry.database.repeating import repeating
from registry.people.account_events import record_event
from registry.people.models import Account

SECOND_FACTORS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
# Kinds of account that are never used without one; assessors are found by their appointment.
COMPULSORY_KINDS = ("employer", "inspector", "registrar")
# What of an authenticator is sealed under ``SECRET_KEY``: an app's secret, the seed of recovery codes or the codes.
SEALED = frozenset({"secret", "seed", "migrated_codes"})


def has_second_factor(account: Account) -> bool:
    """Has an authenticator app or a passkey; recovery codes alone are none."""
    return Authenticator.objects.filter(user=account, type__in=SECOND_FACTORS).exists()


def require_second_factor(account: Account) -> None:
    """Raise :class:`RecordRefused` unless the account has a second factor: a password alone signs nothing."""
    if not has_second_factor(account):
        raise RecordRefused([broken("a_signer_has_a_second_factor")])


@repeating
def enrol_authenticator_app(*, account: Account, secret: str) -> None:
    """Set up the authenticator app that holds ``secret`` (base32), unless the account has one."""
    Authenticator.objects.get_or_create(
        user=account, type=Authenticator.Type.TOTP, defaults={"data": {"secret": encrypt(secret)}}
    )


@repeating
def remove_second_factors(*, account: Account, removed_at: datetime) -> int:
    """Remove every authenticator of somebody who has lost them, and tell them; returns how many there were.

    The registrar does it at the command line. Until the account has a second factor
    again, nothing is signed with it.
    """
    with transaction.atomic():
        removed, _kinds = Authenticator.objects.filter(user=account).delete()
        if removed:
            record_event(account=account, what="second_factor_removed", at=removed_at, by=None)
    return removed


@repeating
def reseal_second_factors() -> int:
    """Seal all secrets again, under the installation's key of today; returns of how many authenticators.

    Afterwards no key in ``SECRET_KEY_FALLBACKS`` is needed to open them.
    """
    with transaction.atomic():
        resealed = [_resealed(each) for each in Authenticator.objects.select_for_update() if SEALED & each.data.keys()]
        Authenticator.objects.bulk_update(resealed, ["data"])
    return len(resealed)


def _resealed(authenticator: Authenticator) -> Authenticator:
    for name in SEALED & authenticator.data.keys():
        authenticator.data[name] = _sealed_again(authenticator.data[name])
    return authenticator


def _sealed_again(sealed: str | list[str]) -> str | list[str]:
    return [encrypt(decrypt(each)) for each in sealed] if isinstance(sealed, list) else encrypt(decrypt(sealed))
