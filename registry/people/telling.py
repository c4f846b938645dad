"""Who is told of what: every act in a person's name, and every change of an account, goes to its holder by mail.

One mail for each act, after it is committed, in the language the account is
written to. A mail says what happened, when and from where, and names no third
person: the page "Signed in your name" does, to whom may see it. A mail that
cannot be sent is logged and fails nothing. Whoever has no account, or no address,
is told on that page alone.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from zoneinfo import ZoneInfo

import structlog
from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils import translation
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from registry.database.readers import as_the_register
from registry.language.amounts import instant
from registry.people.models import Account, Worker

events: structlog.stdlib.BoundLogger = structlog.get_logger("registry.events")

UTC = ZoneInfo("UTC")

OWN_ACCOUNT, ANOTHER_ACCOUNT, COMMAND_LINE = "own_account", "another_account", "command_line"

BACKENDS_THAT_SEND_NOTHING = ("console", "dummy", "filebased")

FROM_WHERE: dict[str, Promise] = {
    OWN_ACCOUNT: gettext_lazy("through your own account"),
    ANOTHER_ACCOUNT: gettext_lazy("by somebody else's account"),
    COMMAND_LINE: gettext_lazy("by the registrar, at the machine of the registry"),
}

SUBJECTS: dict[str, Promise] = {
    "countersigned": gettext_lazy("Hours were countersigned in your name"),
    "assessed": gettext_lazy("A practical assessment was recorded in your name"),
    "employed": gettext_lazy("Employment was recorded for you"),
    "stood_down": gettext_lazy("You were stood down"),
    "certificate_status": gettext_lazy("A certificate of yours was suspended, revoked or reinstated"),
    "stand_down_suspended": gettext_lazy("A stand-down of yours was suspended"),
    "opened": gettext_lazy("An account was opened for you"),
    "second_factor_added": gettext_lazy("A second factor was added to your account"),
    "second_factor_removed": gettext_lazy("The second factor of your account was removed"),
    "password_changed": gettext_lazy("The password of your account was changed"),
    "address_changed": gettext_lazy("The e-mail address of your account was changed"),
    "closed": gettext_lazy("Your account was closed"),
    "identity_checked": gettext_lazy("Your identity was confirmed"),
}
"""What people are told of, and the subject of the mail."""

COUNTED: dict[str, Callable[[int], str]] = {
    "countersigned": lambda count: (
        ngettext(
            "%(count)s hours entry was countersigned in your name.",
            "%(count)s hours entries were countersigned in your name.",
            count,
        )
        % {"count": count}
    ),
}


@dataclass(frozen=True, slots=True)
class Told:
    """What one person is told: ``what`` (a key of :data:`SUBJECTS`), when it was recorded, and from where."""

    what: str
    at: datetime
    by: str


def by_whom(account: Account | None, *, own: Account | Worker | None = None) -> str:
    """From where something was recorded, as the person concerned (``own``) is told."""
    if account is None:
        return COMMAND_LINE
    mine = account == own or (isinstance(own, Worker) and account.worker_id == own.pk)
    return OWN_ACCOUNT if mine else ANOTHER_ACCOUNT


def tell_account(account: Account, *, what: str, at: datetime, by: str, address: str | None = None) -> None:
    """Tell the account's holder, at ``address`` where it is not the account's own; after the transaction commits."""
    to = account.email if address is None else address
    if to:
        transaction.on_commit(partial(_send, to, account.language, Told(what, at, by), 1))


def tell_workers(workers: Iterable[int], *, what: str, at: datetime, by: Account | None) -> None:
    """Tell each worker, once for as often as they are named, after the transaction commits."""
    named = Counter(workers)
    if not named:
        return
    gathered = _gathered.get()
    if gathered is not None:
        for worker, count in named.items():
            gathered.setdefault((what, at, by), Counter())[worker] += count
        return
    transaction.on_commit(partial(_tell_workers, dict(named), what, at, by))


Gathered = dict[tuple[str, datetime, Account | None], Counter[int]]
_gathered: ContextVar[Gathered | None] = ContextVar("gathered", default=None)


@contextmanager
def as_one_act() -> Iterator[None]:
    """Whatever is told within the block is told once, at its end: an import is one act however many rows it has.

    Nothing is told of a block that fails. It stands inside the transaction that may be rolled back.
    """
    gathered: Gathered = {}
    token = _gathered.set(gathered)
    try:
        yield
    finally:
        _gathered.reset(token)
    for (what, at, by), named in gathered.items():
        transaction.on_commit(partial(_tell_workers, dict(named), what, at, by))


def mail_is_sent() -> bool:
    """Whether this installation has a mail server; without one, mail only stands in a terminal."""
    backend = settings.EMAIL_BACKEND.split(".")
    return not set(BACKENDS_THAT_SEND_NOTHING) & set(backend)


def send_invitation(*, address: str, link: str, until: datetime, language: str = "") -> bool:
    """Mail the link of an invitation to the person; whether the mail server took it. The link stands nowhere else."""
    with translation.override(language or settings.LANGUAGE_CODE):
        subject = _("Open your account in the crew registry")
        text = "\n\n".join(
            (
                _("You are invited to open an account of your own in the crew registry. This link opens it, once:"),
                link,
                _("It works until %(until)s UTC. It is for you alone: nobody who invites you may ask you for it.")
                % {"until": instant(until, UTC)},
                _("What is signed with your account is signed in your name. If you expect no account, do nothing."),
            )
        )
    return _hand_over("invitation", EmailMessage(subject, text, None, [address]))


@as_the_register()
def _tell_workers(named: dict[int, int], what: str, at: datetime, by: Account | None) -> None:
    for account in Account.objects.filter(worker__in=named, is_active=True).exclude(email="").order_by("id"):
        told = Told(what, at, by_whom(by, own=account))
        _send(account.email, account.language, told, named[account.worker_id or 0])


def _send(address: str, language: str, told: Told, count: int) -> None:
    with translation.override(language or settings.LANGUAGE_CODE):
        message = EmailMessage(str(SUBJECTS[told.what]), _text(told, count), None, [address])
    _hand_over(told.what, message)


def _text(told: Told, count: int) -> str:
    """The body of a mail, in the language in force."""
    counted = COUNTED.get(told.what)
    happened = counted(count) if counted else f"{SUBJECTS[told.what]}."
    recorded = _("Recorded on %(at)s UTC, %(by)s.") % {
        "at": instant(told.at, UTC),
        "by": FROM_WHERE[told.by],
    }
    what_to_do = _(
        "Sign in to the crew registry and look at “Signed in your name”. If this was not you, or not with your "
        "knowledge, say so there, and tell the registrar."
    )
    return "\n\n".join((happened, recorded, what_to_do))


def _hand_over(what: str, message: EmailMessage) -> bool:
    try:
        message.send()
    except Exception as error:
        # The error may hold the address: only its kind is logged.
        events.error("mail_not_sent", what=what, error=type(error).__name__)
        return False
    return True
