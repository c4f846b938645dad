"""How often somebody may try to sign in, and for whom a try is counted.

Nobody is kept from an account by what other people type. A try counts

- for the **device**, where that account has signed in on it before (`known_devices.py`), or for the session, where
  its account confirms that it is still the same person;
- for the **address**, everywhere else: over all names, and more narrowly at one name.

Guesses at one name from many addresses are slowed, not stopped: past twenty in an
hour each address has one try an hour at that name, past two hundred in a day one a
day. The first try from an address is always weighed, so the owner on a new device
still signs in, and who mistypes there asks for a link by mail, which makes the device
known. Names that are nobody's are counted alike, so that limits do not tell which exist.

Codes of the second factor are six digits, so many addresses together would find one.
Their tries from unknown devices are therefore counted for the account as well. Who may
use those up is only somebody who gave the right password: the owner is told by mail,
a new password ends it, and known devices and passkeys go on working meanwhile.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable
from dataclasses import dataclass

from allauth.account.internal.userkit import get_user_by_username
from allauth.core.internal import ratelimit
from allauth.core.internal.ratelimit import RateLimitUsage
from django.conf import settings
from django.core.cache import cache
from django.core.exceptions import ValidationError
from django.core.mail import send_mail
from django.http import HttpRequest
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext, ngettext

from registry.people.models import Account
from registry.web.event_log import about, events
from registry.web.known_devices import any_mark, mark_of_device
from registry.web.log_lines import where_it_failed

TOO_MANY = "too_many_login_attempts"
CODES_EVERYWHERE = "code_at_account_from_unknown_devices"
TELL = "told_that_the_password_is_known"
LIMITS = {
    # Passwords
    "password_on_device": "10/15m/key",
    "password_from_address": "30/15m/ip",
    "password_from_address_at_name": "5/15m/key",
    "password_from_address_at_attacked_name": "1/60m/key",
    "password_from_address_at_name_attacked_for_long": "1/24h/key",
    # Codes
    "code_on_device": "5/15m/key",
    "code_from_address_at_account": "5/15m/key",
    CODES_EVERYWHERE: "10/60m/key",
    # Mails that tell an account's owner of it
    TELL: "1/24h/key",
    # Requests of any kind to the sign-in page, each of which costs the hashing of a password
    "sign_in_from_device": "30/m/key",
    "sign_in_from_address": "30/m/ip",
    # Links to a new password
    "link_from_device": "20/15m/key",
    "link_from_address": "20/15m/ip",
    "link_to_mail_address": "3/60m/key",
}
# How many wrong passwords at one name, over all unknown devices, are an attack on it.
ATTACKS = {"attack_on_name": "20/60m/key", "long_attack_on_name": "200/24h/key"}


@dataclass(frozen=True)
class Attempt:
    """A try that has been counted as a failure, until it turns out to be right."""

    usages: tuple[RateLimitUsage, ...]

    def rollback(self) -> None:
        """It was right: nothing is counted. What was counted before stays, or own successes would hide guesses."""
        for usage in self.usages:
            usage.rollback()


def password_attempt(request: HttpRequest, username: str) -> Attempt:
    """Count a try at a name's password. Raises :class:`ValidationError`, with the wait, where it is one too many."""
    account = _named(username)
    trusted = _trusted(request, account)
    if trusted is not None:
        return _counted(request, [("password_on_device", trusted)])
    # Spellings that the database takes for one name are one name.
    name = f"account {account.pk}" if account is not None else f"name {username.casefold()}"
    here = f"{ratelimit.get_ip(request)} {name}"
    limits = [("password_from_address", here), ("password_from_address_at_name", here)]
    if _attacked(request, "attack_on_name", name):
        limits.append(("password_from_address_at_attacked_name", here))
    if _attacked(request, "long_attack_on_name", name):
        limits.append(("password_from_address_at_name_attacked_for_long", here))
    attempt = _counted(request, limits)
    return Attempt((*attempt.usages, *_count_towards_attacks(request, name)))


def code_attempt(request: HttpRequest, account: Account) -> Attempt:
    """Count a try at an account's code. Raises as :func:`password_attempt`."""
    trusted = _trusted(request, account)
    if trusted is not None:
        return _counted(request, [("code_on_device", trusted)])
    everywhere = f"account {account.pk}"
    here = f"{ratelimit.get_ip(request)} {everywhere}"
    attempt = _counted(request, [("code_from_address_at_account", here)])
    try:
        return Attempt((*attempt.usages, *_counted(request, [(CODES_EVERYWHERE, everywhere)]).usages))
    except ValidationError:
        if ratelimit.consume(request, app="registry", action=TELL, config=LIMITS, key=everywhere, limit_get=True):
            tell_that_the_password_is_known(request, account)
        raise


def tell_that_the_password_is_known(request: HttpRequest, account: Account) -> None:
    """Mail the owner, in every language, since nobody knows in which they read."""
    if not account.email:
        return
    address = request.build_absolute_uri(reverse("account_reset_password"))
    subjects, texts = [], []
    for language, _name in settings.LANGUAGES:
        with translation.override(language):
            subjects.append(gettext("Somebody has your password"))
            texts.append(
                gettext(
                    "Somebody gave the right password of your account and then tried wrong codes, many times. "
                    "They have not got in. Choose a new password now: %(address)s"
                )
                % {"address": address}
            )
    try:
        send_mail(" / ".join(subjects), "\n\n".join(texts) + "\n", None, [account.email])
    except OSError as error:
        # The attempt is refused all the same.
        events.error("mail_failed", account=account.pk, failed=where_it_failed(error))


def sign_in_is_flooded(request: HttpRequest, username: str) -> bool:
    """Whether more is asked of the sign-in page than people do. Counts the request."""
    mark = mark_of_device(request, _named(username))
    return not _consumed(request, "sign_in_from_device" if mark else "sign_in_from_address", mark)


def links_are_flooded(request: HttpRequest) -> bool:
    """Whether too many links to a new password are asked for from here. Counts the request."""
    mark = any_mark(request)
    return not _consumed(request, "link_from_device" if mark else "link_from_address", mark)


def link_may_be_mailed(request: HttpRequest, email: str) -> bool:
    """Whether another link is mailed there. If not, one that was mailed within the hour still works."""
    return _consumed(request, "link_to_mail_address", email.casefold()) is not None


def account_named(username: str) -> Account | None:
    """The account of a name, as signing in finds it."""
    return _named(username)


def _named(username: str) -> Account | None:
    found = get_user_by_username(username)
    return found if isinstance(found, Account) else None


def _trusted(request: HttpRequest, account: Account | None) -> str | None:
    """What to count a try of this device for, if the account has signed in on it."""
    if account is not None and request.user.is_authenticated and request.user.pk == account.pk:
        return f"session {request.session.session_key}"
    mark = mark_of_device(request, account)
    return f"device {mark}" if mark else None


def _counted(request: HttpRequest, limits: Iterable[tuple[str, str]]) -> Attempt:
    usages: list[RateLimitUsage] = []
    for action, key in limits:
        usage = _consumed(request, action, key)
        if usage is None:
            Attempt(tuple(usages)).rollback()
            raise _too_many(_minutes_until_free(request, action, key))
        usages.append(usage)
    return Attempt(tuple(usages))


def _consumed(request: HttpRequest, action: str, key: str | None) -> RateLimitUsage | None:
    usage = ratelimit.consume(request, app="registry", action=action, config=LIMITS, key=key, limit_get=True)
    if usage is None:
        events.warning("limit_reached", limit=action, **about(request))
    return usage


def _attacked(request: HttpRequest, attack: str, name: str) -> bool:
    free = ratelimit.consume(
        request, app="registry", action=attack, config=ATTACKS, key=name, limit_get=True, dry_run=True
    )
    return free is None


def _count_towards_attacks(request: HttpRequest, name: str) -> list[RateLimitUsage]:
    counted = (
        ratelimit.consume(request, app="registry", action=attack, config=ATTACKS, key=name, limit_get=True)
        for attack in ATTACKS
    )
    return [each for each in counted if each is not None]


def _too_many(minutes: int) -> ValidationError:
    sentence = ngettext(
        "Too many failed attempts. Try again in one minute.",
        "Too many failed attempts. Try again in %(minutes)s minutes.",
        minutes,
    )
    return ValidationError(sentence % {"minutes": minutes}, code=TOO_MANY)


def _minutes_until_free(request: HttpRequest, action: str, key: str) -> int:
    """Whole minutes until the limit allows another try."""
    (rate,) = ratelimit.get_rates(app="registry", action=action, config=LIMITS)
    tries = cache.get(ratelimit.get_cache_key(request, app="registry", action=action, rate=rate, key=key), [])
    free = tries[rate.amount - 1] + rate.duration if len(tries) >= rate.amount else time.time()
    return max(1, math.ceil((free - time.time()) / 60))
