"""Invitations: the only way to an account of one's own.

An invitation is a link that opens once and not for long, and no more once the
account that sent it is closed or the person is invited again. It goes to the
person: a dispatcher's by mail, to an address that is nobody else's here; the
registrar's and an inspector's also as a code on paper, handed over by them. The
register keeps the SHA-256 of its token, never the token: nobody who reads the
tables, and nobody who invites, can accept in the person's place. The database
holds the same rules (``sql/closing.sql``).

Every function raises :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast

from django.db import transaction
from django.db.models import Exists, F, OuterRef, Q, QuerySet

from registry.database.errors import Problem, RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.people import telling
from registry.people.account_events import record_event
from registry.people.addresses import address_key, invited_address_problems
from registry.people.models import Account, ClosedAccount, Employer, Employment, Invitation, Worker
from registry.people.registrars import is_registrar
from registry.people.services import open_account

VALID_FOR = timedelta(days=7)
CODE_LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Of a code on paper: none that is taken for another."""

CODE_GROUPS, GROUP = 6, 4
"""24 of 30 letters are 117 bits: nobody finds one by trying."""


@dataclass(frozen=True, slots=True)
class NewInvitation:
    """An invitation and its token, which exists only here and in the link."""

    invitation: Invitation
    token: str


@repeating
def invite(
    *,
    kind: str,
    invited_by: Account | None,
    invited_at: datetime,
    employer: Employer | None = None,
    worker: Worker | None = None,
    address: str = "",
    printed: bool = False,
    valid_for: timedelta = VALID_FOR,
) -> NewInvitation:
    """Invite somebody to open an account of ``kind``; an earlier open invitation of the same person ends with it.

    A registrar may invite anybody; ``invited_by`` is ``None`` at the machine before
    there is one. A dispatcher invites, by mail to ``address``, dispatchers of its own
    employer and workers whom that employer employs on the day of ``invited_at``, an
    inspector workers, the registrar also whoever had an account before. Without an
    ``address`` it is a code on paper, or, ``printed`` at the machine, a link. Whoever
    invites for a dispatcher uses :func:`invite_by_mail`, which keeps the token from them.
    """
    address = address.strip()
    problems = _inviter_problems(kind, invited_by, employer, worker, invited_at, address)
    if not problems:
        problems = _worker_problems(worker, invited_by)
    if not problems and address:
        problems = invited_address_problems(address, kind=kind, employer=employer, worker=worker)
    if problems:
        raise RecordRefused(problems)
    way = "mail" if address else "printed" if printed or invited_by is None else "paper"
    token = _paper_code() if way == "paper" else secrets.token_urlsafe(32)
    with refusals(), transaction.atomic():
        invitation = Invitation.objects.create(
            token_hash=hash_of(token),
            kind=kind,
            employer=employer,
            worker=worker,
            invited_by=invited_by,
            way=way,
            address=address,
            invited_at=invited_at,
            expires_at=invited_at + valid_for,
        )
    return NewInvitation(invitation, token)


def invite_by_mail(
    *,
    kind: str,
    invited_by: Account,
    invited_at: datetime,
    address: str,
    link_to: Callable[[str], str],
    employer: Employer | None = None,
    worker: Worker | None = None,
    language: str = "",
) -> Invitation:
    """:func:`invite`, and mail the link that ``link_to`` makes of the token; nobody but the person gets it.

    Refused where the installation sends no mail, or the mail server did not take
    this one: invite again then, which ends the invitation that went nowhere.
    """
    if not telling.mail_is_sent():
        raise RecordRefused([broken("this_registry_sends_mail")])
    made = invite(
        kind=kind, invited_by=invited_by, invited_at=invited_at, address=address, employer=employer, worker=worker
    )
    sent = telling.send_invitation(
        address=address.strip(), link=link_to(made.token), until=made.invitation.expires_at, language=language
    )
    if not sent:
        raise RecordRefused([broken("mail_is_sent")])
    return made.invitation


@as_the_register()
def open_invitation(*, token_hash: str, at: datetime) -> Invitation:
    """The invitation that the token of this hash (:func:`hash_of`) still opens at ``at``."""
    return _openable(Invitation.objects.select_related("employer", "worker"), token_hash, at)


@repeating
def accept(
    *, token_hash: str, username: str, password: str, email: str = "", language: str = "", accepted_at: datetime
) -> Account:
    """Open the account the invitation is for; the link is spent with it.

    An account opened through a mail is written to at the address of that mail, not
    at ``email``: that it is the person's own is all that is known of them.
    """
    with refusals(), transaction.atomic():
        # Two who follow one link wait for each other here, and the second finds it spent.
        invitation = _openable(Invitation.objects.select_for_update(of=("self",)), token_hash, accepted_at)
        problems = _worker_problems(invitation.worker, None)
        if Account.objects.filter(username__iexact=username).exists():
            problems.append(broken("username_is_taken"))
        if problems:
            raise RecordRefused(problems)
        account = open_account(
            username=username,
            password=password,
            kind=invitation.kind,
            employer=invitation.employer,
            worker=invitation.worker,
            email=invitation.address or email,
            language=language,
        )
        invitation.accepted_at, invitation.account = accepted_at, account
        invitation.save(update_fields=["accepted_at", "account"])
        record_event(account=account, what="opened", at=accepted_at, by=None)
    return account


@as_the_register()
def invitations_of(account: Account, *, most: int) -> list[Invitation]:
    """What the account's employer has sent out last, newest first, with ``ended``; a code's giver sees their own."""
    sent = Invitation.objects.filter(invited_by=account)
    if account.kind == "employer":
        sent = Invitation.objects.filter(invited_by__employer=account.employer_id)
    sent = sent.select_related("worker", "employer", "account")
    return list(_with_ended(sent).order_by("-invited_at", "-id")[:most])


def _with_ended(invitations: QuerySet[Invitation]) -> Any:
    """Says of each (``ended``) whether the account that sent it was closed, or since then one of the same worker.

    ``invited_again`` says that a later invitation took its place.
    """
    of_the_worker = Q(account__worker=OuterRef("worker"), recorded_at__gte=OuterRef("invited_at"))
    closings = ClosedAccount.objects.filter(Q(account=OuterRef("invited_by")) | of_the_worker)
    same_box = Q(
        ~Q(address=""),
        worker__isnull=True,
        kind=OuterRef("kind"),
        employer=OuterRef("employer"),
        box=address_key(OuterRef("address")),
    )
    boxes = Invitation.objects.annotate(box=address_key(F("address")))
    later = boxes.filter(Q(worker=OuterRef("worker")) | same_box, pk__gt=OuterRef("pk"))
    return invitations.annotate(ended=Exists(closings), invited_again=Exists(later))


def _openable(among: QuerySet[Invitation], token_hash: str, at: datetime) -> Invitation:
    invitation = _with_ended(among).filter(token_hash=token_hash).first()
    if invitation is None:
        raise RecordRefused([broken("invitation_is_known")])
    if invitation.accepted_at is not None:
        raise RecordRefused([broken("an_invitation_is_accepted_once")])
    if at > invitation.expires_at:
        raise RecordRefused([broken("an_invitation_is_accepted_in_time")])
    if invitation.ended:
        raise RecordRefused([broken("an_invitation_ends_with_a_closed_account")])
    if invitation.invited_again:
        raise RecordRefused([broken("an_invitation_ends_with_the_next_one")])
    return cast(Invitation, invitation)


def hash_of(token: str) -> str:
    """The SHA-256 of a link's token, or of a code as somebody typed it from paper."""
    typed = token.upper().replace("-", "").replace(" ", "")
    if len(typed) == CODE_GROUPS * GROUP and set(typed) <= set(CODE_LETTERS):
        token = typed
    return hashlib.sha256(token.encode()).hexdigest()


def in_groups(code: str) -> str:
    """A code as it is printed: ``K7QM-2XPA-…``."""
    return "-".join(code[at : at + GROUP] for at in range(0, len(code), GROUP))


def _paper_code() -> str:
    return "".join(secrets.choice(CODE_LETTERS) for _letter in range(CODE_GROUPS * GROUP))


def _inviter_problems(
    kind: str,
    invited_by: Account | None,
    employer: Employer | None,
    worker: Worker | None,
    at: datetime,
    address: str,
) -> list[Problem]:
    """Why this account may not send this invitation. Whether somebody is registered, or where, is not told."""
    if invited_by is None or is_registrar(invited_by):
        return []
    if invited_by.kind == "worker" or (invited_by.kind == "inspector" and kind != "worker"):
        return [broken("workers_invite_nobody")]
    if invited_by.kind == "inspector" and address:
        return [broken("an_inspector_hands_the_code_over")]
    if invited_by.kind == "registrar":
        return [broken("an_act_of_the_registrar_names_the_registrar")]
    if invited_by.kind != "employer":
        return []
    if not address:
        return [broken("an_employers_invitation_goes_by_mail")]
    if kind == "employer":
        if employer is None or employer.pk != invited_by.employer_id:
            return [broken("dispatchers_invite_their_own", "employer")]
        return []
    if kind != "worker":
        return [broken("dispatchers_invite_their_own", "kind")]
    if worker is None or not _employs(invited_by.employer_id, worker, at):
        return [broken("dispatchers_invite_their_own")]
    return []


def _employs(employer_id: int | None, worker: Worker, at: datetime) -> bool:
    day = at.date()
    return (
        Employment.objects.current()
        .filter(Q(end__isnull=True) | Q(end__gte=day), employer=employer_id, worker=worker, start__lte=day)
        .exists()
    )


def _worker_problems(worker: Worker | None, invited_by: Account | None) -> list[Problem]:
    """Somebody with an account is not invited, and somebody who had one by the registrar alone."""
    if worker is None:
        return []
    opened = list(Account.objects.filter(worker=worker).values_list("is_active", flat=True))
    if any(opened):
        return [broken("a_worker_has_one_open_account")]
    if opened and invited_by is not None and invited_by.kind != "registrar":
        return [broken("the_registrar_lets_in_again")]
    return []
