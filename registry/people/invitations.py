"""Invitations: the only way to an account of one's own.

An invitation is a link that opens once and not for long, and no more once the
account that sent it is closed. The register keeps
the SHA-256 of the link's token, never the token: who reads the tables cannot
accept in somebody's place. The database holds the same rules
(``sql/invitations.sql``).

Every function raises :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, cast

from django.db import transaction
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from registry.database.errors import Problem, RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.people.models import Account, ClosedAccount, Employer, Employment, Invitation, Worker
from registry.people.services import open_account

VALID_FOR = timedelta(days=7)


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
    valid_for: timedelta = VALID_FOR,
) -> NewInvitation:
    """Invite somebody to open an account of ``kind``.

    ``invited_by`` ``None`` is the registrar at the command line, who may invite
    anybody. A dispatcher may invite dispatchers of its own employer and workers
    whom that employer employs on the day of ``invited_at``; nobody else invites.
    """
    problems = [*_inviter_problems(kind, invited_by, employer, worker, invited_at), *_worker_problems(worker)]
    if problems:
        raise RecordRefused(problems)
    token = secrets.token_urlsafe(32)
    with refusals(), transaction.atomic():
        invitation = Invitation.objects.create(
            token_hash=_hash(token),
            kind=kind,
            employer=employer,
            worker=worker,
            invited_by=invited_by,
            invited_at=invited_at,
            expires_at=invited_at + valid_for,
        )
    return NewInvitation(invitation, token)


@as_the_register()
def open_invitation(*, token: str, at: datetime) -> Invitation:
    """The invitation that ``token`` still opens at ``at``."""
    return _openable(Invitation.objects.select_related("employer", "worker"), token, at)


@repeating
def accept(*, token: str, username: str, password: str, email: str = "", accepted_at: datetime) -> Account:
    """Open the account the invitation is for; the link is spent with it."""
    with refusals(), transaction.atomic():
        # Two who follow one link wait for each other here, and the second finds it spent.
        invitation = _openable(Invitation.objects.select_for_update(of=("self",)), token, accepted_at)
        problems = _worker_problems(invitation.worker)
        if Account.objects.filter(username__iexact=username).exists():
            problems.append(Problem("username", "username_is_taken", _("This user name is taken.")))
        if problems:
            raise RecordRefused(problems)
        account = open_account(
            username=username,
            password=password,
            kind=invitation.kind,
            employer=invitation.employer,
            worker=invitation.worker,
            email=email,
        )
        invitation.accepted_at, invitation.account = accepted_at, account
        invitation.save(update_fields=["accepted_at", "account"])
    return account


@as_the_register()
def invitations_of(account: Account, *, most: int) -> list[Invitation]:
    """What the account's employer has sent out last, newest first, with ``ended``; nothing for anybody else."""
    if account.kind != "employer":
        return []
    sent = Invitation.objects.filter(invited_by__employer=account.employer_id).select_related("worker", "account")
    return list(_with_ended(sent).order_by("-invited_at", "-id")[:most])


def _with_ended(invitations: QuerySet[Invitation]) -> Any:
    """Says of each (``ended``) whether the account that sent it was closed, or since then one of the same worker."""
    of_the_worker = Q(account__worker=OuterRef("worker"), recorded_at__gte=OuterRef("invited_at"))
    closings = ClosedAccount.objects.filter(Q(account=OuterRef("invited_by")) | of_the_worker)
    return invitations.annotate(ended=Exists(closings))


def _openable(among: QuerySet[Invitation], token: str, at: datetime) -> Invitation:
    invitation = _with_ended(among).filter(token_hash=_hash(token)).first()
    if invitation is None:
        raise _refused("invitation_is_known", _("There is no such invitation: check that the link is whole."))
    if invitation.accepted_at is not None:
        raise _refused("an_invitation_is_accepted_once", _("This invitation has been used; sign in instead."))
    if at > invitation.expires_at:
        raise _refused("an_invitation_is_accepted_in_time", _("This invitation has run out; ask for a new one."))
    if invitation.ended:
        raise RecordRefused([broken("an_invitation_ends_with_a_closed_account")])
    return cast(Invitation, invitation)


def _refused(rule: str, sentence: str) -> RecordRefused:
    return RecordRefused([Problem("", rule, sentence)])


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _inviter_problems(
    kind: str, invited_by: Account | None, employer: Employer | None, worker: Worker | None, at: datetime
) -> list[Problem]:
    """Why this account may not send this invitation."""
    if invited_by is None:
        return []
    if invited_by.kind != "employer":
        return [Problem("", "only_dispatchers_invite", _("Only an employer's dispatcher invites."))]
    if kind == "employer":
        if employer is None or employer.pk != invited_by.employer_id:
            return [Problem("employer", "dispatchers_invite_their_own", _("Invite dispatchers of your own employer."))]
        return []
    if kind != "worker":
        return [Problem("kind", "dispatchers_invite_their_own", _("Invite dispatchers and workers, nobody else."))]
    if worker is None or not _employs(invited_by.employer_id, worker, at):
        return [Problem("worker", "dispatchers_invite_their_own", _("Invite workers whom your employer employs."))]
    return []


def _employs(employer_id: int | None, worker: Worker, at: datetime) -> bool:
    day = at.date()
    return (
        Employment.objects.current()
        .filter(Q(end__isnull=True) | Q(end__gte=day), employer=employer_id, worker=worker, start__lte=day)
        .exists()
    )


def _worker_problems(worker: Worker | None) -> list[Problem]:
    if worker is not None and Account.objects.filter(worker=worker, is_active=True).exists():
        return [broken("a_worker_has_one_open_account")]
    return []
