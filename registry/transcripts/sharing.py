"""Links by which a worker shows their own record for some days to somebody without an account.

The register keeps the SHA-256 of a link's token, never the token: who reads the
tables cannot open the link. A link is made and ended by its worker alone, lasts
30 days at most, and every look through it is recorded and told to the worker.
The database holds the same rules (``sql/sharing.sql``).
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import Count, Max, QuerySet

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.readers import as_the_register
from registry.database.repeating import repeating
from registry.people.models import Account, Worker
from registry.transcripts.models import EndedLink, LinkOpening, SharedLink

FEWEST_DAYS, MOST_DAYS = 1, 30
RECORD, TRANSCRIPT = LinkOpening.WHAT


class LinkClosed(Exception):
    """A token that opens nothing: never given out, ended, run out, or of somebody who was erased.

    Deliberately one answer for all of them: a closed link says nothing about anybody.
    """


@dataclass(frozen=True, slots=True)
class NewLink:
    """A link and its token, which exists only here and in the address."""

    link: SharedLink
    token: str


@repeating
def share(*, worker: Worker, days: int, note: str, at: datetime, shared_by: Account) -> NewLink:
    """Make a link to the worker's record that is open for so many days from ``at``.

    ``note`` says for whom it is; only the worker sees it. Raises
    :class:`RecordRefused` unless ``shared_by`` is the worker's own account and
    ``days`` lies from 1 to 30.
    """
    if not FEWEST_DAYS <= days <= MOST_DAYS:
        raise RecordRefused([broken("shared_link_lasts_at_most_30_days")])
    token = secrets.token_urlsafe(32)
    with refusals(), transaction.atomic():
        link = SharedLink.objects.create(
            token_hash=_hash(token),
            worker=worker,
            note=note.strip(),
            expires_at=at + timedelta(days=days),
            recorded_at=at,
            recorded_by=shared_by,
        )
    return NewLink(link, token)


@repeating
def end_link(*, link: SharedLink, at: datetime, ended_by: Account) -> EndedLink:
    """End a link at once and for good. Raises :class:`RecordRefused` for anybody but its worker, and a second time."""
    with refusals(), transaction.atomic():
        return EndedLink.objects.create(link=link, recorded_at=at, recorded_by=ended_by)


@repeating
@as_the_register()
def look_through(*, token: str, what: str, at: datetime, looked_by: Account | None) -> SharedLink:
    """The link that ``token`` opens at ``at``, with the look recorded: ``what`` is ``record`` or ``transcript``.

    ``looked_by`` is who is signed in, if anybody; a worker's look at their own
    record is not recorded. Raises :class:`LinkClosed`.
    """
    link = SharedLink.objects.select_related("worker").filter(token_hash=_hash(token)).first()
    if link is None:
        raise LinkClosed
    if looked_by is not None and looked_by.worker_id == link.worker_id and is_open(link, at):
        return link
    try:
        with refusals(), transaction.atomic():
            LinkOpening.objects.create(link=link, what=what, recorded_at=at, recorded_by=looked_by)
    except RecordRefused as refused:
        raise LinkClosed from refused
    return link


def is_open(link: SharedLink, at: datetime) -> bool:
    """Whether the link has neither run out nor been ended at ``at``."""
    return at < link.expires_at and not EndedLink.objects.filter(link=link).exists()


def links_of(worker: Worker) -> QuerySet[SharedLink]:
    """The worker's links, newest first, with how often each was looked through (``looks``) and last (``last_look``)."""
    links = SharedLink.objects.filter(worker=worker).select_related("ended")
    counted = links.annotate(looks=Count("openings"), last_look=Max("openings__recorded_at"))
    return counted.order_by("-recorded_at", "-id")


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
