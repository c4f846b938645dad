"""What was signed or recorded in somebody's name, as that person reads it, and saying that it was not them.

Functions that write raise :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, overload

from django.db import transaction
from django.db.models import CharField, Q, QuerySet, Value

from registry.database.errors import RecordRefused, broken, refusals
from registry.database.repeating import repeating
from registry.evidence.models import Assessment, Countersignature, DeniedSignature
from registry.people import telling
from registry.people.account_events import events_of
from registry.people.models import Account, AccountEvent, Employment, Worker

SIGNATURES: dict[str, tuple[type[Countersignature] | type[Assessment], str]] = {
    "countersignature": (Countersignature, "by"),
    "assessment": (Assessment, "assessor"),
}
"""Records that are somebody's signature, and which of their fields names the signer."""


@dataclass(frozen=True, slots=True)
class Act:
    """One act in a person's name: ``kind`` and ``record``, from where it came, and whether the person denies it.

    ``by`` is a key of :data:`registry.people.telling.FROM_WHERE`.
    """

    kind: str
    record: Countersignature | Assessment | Employment | AccountEvent
    recorded_at: datetime
    by: str
    account: Account | None
    denied: DeniedSignature | None

    @property
    def deniable(self) -> bool:
        """Whether the person can say here that it was not them."""
        return self.kind in SIGNATURES and self.denied is None


class InYourName(Sequence[Act]):
    """Everything in the name of the account's holder, latest first; a page of it takes at most six statements."""

    def __init__(self, account: Account) -> None:
        self.account = account
        named = [_of(kind, account) for kind in ("countersignature", "assessment", "employment", "event")]
        first, *others = [
            each.order_by().annotate(named=Value(kind, CharField())).values_list("recorded_at", "pk", "named")
            for kind, each in zip(("countersignature", "assessment", "employment", "event"), named, strict=True)
        ]
        self.all = first.union(*others, all=True).order_by("-recorded_at", "-pk")

    def __len__(self) -> int:
        return int(self.all.count())

    @overload
    def __getitem__(self, which: int) -> Act: ...
    @overload
    def __getitem__(self, which: slice) -> list[Act]: ...
    def __getitem__(self, which: int | slice) -> Act | list[Act]:
        if isinstance(which, int):
            return self[which : which + 1][0]
        rows = list(self.all[which])
        found = {
            kind: _of(kind, self.account).in_bulk([number for _at, number, what in rows if what == kind])
            for kind in {what for _at, _number, what in rows}
        }
        denied = self._denied(rows)
        return [self._act(kind, found[kind][number], denied.get((kind, number))) for _at, number, kind in rows]

    def _denied(self, rows: list[Any]) -> dict[tuple[str, int], DeniedSignature]:
        numbers = [number for _at, number, what in rows if what in SIGNATURES]
        said = DeniedSignature.objects.filter(by=self.account.worker_id, record_id__in=numbers)
        return {(each.record_kind, each.record_id): each for each in said}

    def _act(self, kind: str, record: Any, denied: DeniedSignature | None) -> Act:
        own = self.account.worker or self.account
        if kind == "event" and record.recorded_by is None and record.what != "second_factor_removed":
            # Whoever follows an invitation, or sets a forgotten password, is not signed in yet.
            by = telling.OWN_ACCOUNT
        else:
            by = telling.by_whom(record.recorded_by, own=own)
        return Act(kind, record, record.recorded_at, by, record.recorded_by, denied)


def _of(kind: str, account: Account) -> QuerySet[Any]:
    worker = account.worker_id
    if kind == "countersignature":
        given = Countersignature.objects.filter(by=worker, by__isnull=False)
        return given.select_related("recorded_by__employer", "entry__worker", "entry__model__maker", "entry__site")
    if kind == "assessment":
        assessed = Assessment.objects.filter(assessor=worker, assessor__isnull=False)
        return assessed.select_related("recorded_by__employer", "worker", "model__maker")
    if kind == "employment":
        employed = Employment.objects.filter(worker=worker, worker__isnull=False)
        return employed.select_related("recorded_by__employer", "employer")
    return events_of(account).order_by()


@repeating
def deny_signature(*, kind: str, record_id: int, reason: str, denied_at: datetime, denied_by: Account) -> None:
    """Say that a signature in one's name is not one's own; the inspector, the registrar and the firm see it.

    ``kind`` is a key of :data:`SIGNATURES`. The signed record stays, marked.
    """
    signer = signer_of(kind, record_id)
    if signer is None or signer.pk != denied_by.worker_id:
        raise RecordRefused([broken("a_denied_signature_is_in_the_persons_name")])
    with refusals(), transaction.atomic():
        DeniedSignature.objects.create(
            by=signer,
            record_kind=kind,
            record_id=record_id,
            reason=reason.strip(),
            recorded_at=denied_at,
            recorded_by=denied_by,
        )


def signer_of(kind: str, record_id: int) -> Worker | None:
    """In whose name a record was signed; ``None`` where there is no such signature."""
    if kind not in SIGNATURES:
        return None
    model, field = SIGNATURES[kind]
    record = model._default_manager.select_related(field).filter(pk=record_id).first()
    return None if record is None else getattr(record, field)


def signed_record(account: Account, kind: str, record_id: int) -> Countersignature | Assessment | None:
    """A signature in the name of the account's holder, with what it is for."""
    if kind not in SIGNATURES:
        return None
    found: Countersignature | Assessment | None = _of(kind, account).filter(pk=record_id).first()
    return found


def denied_signatures() -> QuerySet[DeniedSignature]:
    """Every signature that somebody says is not theirs, latest first."""
    return DeniedSignature.objects.select_related("by", "recorded_by").order_by("-recorded_at", "-id")


def denied_of_entries(entries: Sequence[int]) -> set[int]:
    """Which countersignatures of these hours entries their signers deny. One statement."""
    signatures = Countersignature.objects.filter(entry__in=entries).values("pk")
    said = DeniedSignature.objects.filter(Q(record_kind="countersignature"), record_id__in=signatures)
    return set(said.values_list("record_id", flat=True))
