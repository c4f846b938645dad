"""Hours that wait for somebody's countersignature: asking, signing, declining, answering.

A signer signs and declines as themself only. Nothing here changes an entry.
Functions raise :class:`registry.database.errors.RecordRefused`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Count, Exists, OuterRef, Prefetch, Q, QuerySet

from registry.database.errors import Problem, RecordRefused, broken, refusals, within
from registry.database.repeating import repeating
from registry.evidence.models import (
    Countersignature,
    CountersignatureRequest,
    EntryObjection,
    HoursEntry,
    ObjectionAnswer,
)
from registry.evidence.services import NewHours, countersign, lock_days_of, record_hours_in_bulk
from registry.people.models import Account, Employer, Worker
from registry.people.second_factor import require_second_factor
from registry.people.telling import as_one_act


def _open_requests() -> QuerySet[CountersignatureRequest]:
    signed = Countersignature.objects.filter(entry=OuterRef("entry"), by=OuterRef("of"))
    return CountersignatureRequest.objects.filter(
        ~Exists(signed), entry__superseded_by__isnull=True, entry__withdrawn=False
    )


def _unanswered_objections() -> QuerySet[EntryObjection]:
    signed = Countersignature.objects.filter(entry=OuterRef("entry"), by=OuterRef("by"))
    return EntryObjection.objects.filter(
        ~Exists(signed), answer__isnull=True, entry__superseded_by__isnull=True, entry__withdrawn=False
    )


def waiting_for(signer: Worker | int) -> QuerySet[CountersignatureRequest]:
    """Entries that the signer was asked to countersign, and neither signed nor declined since; oldest work first."""
    declined = EntryObjection.objects.filter(entry=OuterRef("entry"), by=OuterRef("of"), answer__isnull=True)
    return (
        _open_requests()
        .filter(~Exists(declined), of=signer)
        .select_related("entry__worker", "entry__model__maker", "entry__site", "entry__employer")
        .order_by("entry__start", "entry_id")
    )


def waiting_with_answers(signer: Worker | int) -> QuerySet[CountersignatureRequest]:
    """:func:`waiting_for`, each with the signer's earlier objections as ``entry.answered`` and their answers."""
    answered = EntryObjection.objects.filter(by=signer, answer__isnull=False).select_related("answer")
    return waiting_for(signer).prefetch_related(Prefetch("entry__objections", answered, to_attr="answered"))


def declined_by(signer: Worker | int) -> QuerySet[EntryObjection]:
    """What the signer declined and the employer has not dealt with yet."""
    return _unanswered_objections().filter(by=signer).select_related("entry__worker", "entry__site").order_by("-id")


def waiting_at(employer: Employer) -> QuerySet[CountersignatureRequest]:
    """The employer's entries that wait for somebody: whom, and since when."""
    declined = EntryObjection.objects.filter(entry=OuterRef("entry"), by=OuterRef("of"), answer__isnull=True)
    return (
        _open_requests()
        .filter(~Exists(declined), entry__employer=employer)
        .select_related("of", "entry__worker", "entry__model__maker", "entry__site")
        .order_by("of__family_name", "of__given_name", "of_id", "entry__start", "entry_id")
    )


def signers_waited_for(employer: Employer) -> list[tuple[Worker, int]]:
    """Everybody whose countersignature the employer's entries wait for, by name, and for how many entries."""
    counted = waiting_at(employer).order_by().values("of").annotate(entries=Count("pk"))
    entries = {each["of"]: each["entries"] for each in counted}
    signers = Worker.objects.filter(pk__in=entries).order_by("family_name", "given_name", "pk")
    return [(each, entries[each.pk]) for each in signers]


def objections_at(employer: Employer) -> QuerySet[EntryObjection]:
    """Objections to the employer's entries that wait for its answer."""
    return (
        _unanswered_objections()
        .filter(entry__employer=employer)
        .select_related("by", "entry__worker", "entry__model__maker", "entry__site")
        .order_by("recorded_at", "id")
    )


def nobody_asked(employer: Employer) -> QuerySet[HoursEntry]:
    """The employer's entries that nobody signed and nobody was asked to sign."""
    return (
        HoursEntry.objects.current()
        .filter(
            ~Exists(Countersignature.objects.filter(entry=OuterRef("pk"))),
            ~Exists(CountersignatureRequest.objects.filter(entry=OuterRef("pk"))),
            employer=employer,
        )
        .select_related("worker", "model__maker", "site")
        .order_by("start", "id")
    )


@repeating
def record_shift(
    *, rows: Sequence[NewHours], signer: Worker | None, recorded_at: datetime, recorded_by: Account | None
) -> list[HoursEntry]:
    """Record the hours of a crew and ask ``signer`` to countersign those of the others, all or none.

    Problems name their row as ``rows[3].end``, also where there is one row only.
    """
    if not rows:
        raise RecordRefused([broken("a_sheet_names_somebody")])
    if problems := _overlaps(rows):
        raise RecordRefused(problems)
    try:
        with transaction.atomic():
            lock_days_of({each.worker.pk for each in rows})
            if problems := _recorded_already(rows):
                raise RecordRefused(problems)
            entries = record_hours_in_bulk(rows=rows, recorded_at=recorded_at, recorded_by=recorded_by)
            if signer is not None:
                ask_for_countersignature(
                    entries=[each for each in entries if each.worker_id != signer.pk],
                    of=signer,
                    recorded_at=recorded_at,
                    recorded_by=recorded_by,
                )
            return entries
    except RecordRefused as refused:
        if len(rows) > 1:
            raise
        raise RecordRefused(
            [each if each.field.startswith("rows[") else within(each, "rows[0]") for each in refused.problems]
        ) from refused


def _overlaps(rows: Sequence[NewHours]) -> list[Problem]:
    """Nobody is in two lines of one sheet at the same time."""
    return [
        within(broken("nobody_is_on_a_sheet_twice_at_once"), f"rows[{later}]")
        for later, new in enumerate(rows)
        if any(
            earlier.worker.pk == new.worker.pk and earlier.start < new.end and new.start < earlier.end
            for earlier in rows[:later]
        )
    ]


def _recorded_already(rows: Sequence[NewHours]) -> list[Problem]:
    """Nobody's hours are recorded twice for the same time; what was recorded wrongly is corrected. One statement."""
    recorded = (
        HoursEntry.objects.current()
        .filter(
            worker__in={each.worker.pk for each in rows},
            start__lt=max(each.end for each in rows),
            end__gt=min(each.start for each in rows),
        )
        .values_list("worker", "start", "end")
    )
    spans: dict[int, list[tuple[datetime, datetime]]] = defaultdict(list)
    for worker, start, end in recorded:
        spans[worker].append((start, end))
    return [
        within(broken("hours_are_recorded_once"), f"rows[{place}]")
        for place, new in enumerate(rows)
        if any(start < new.end and new.start < end for start, end in spans[new.worker.pk])
    ]


@repeating
def ask_for_countersignature(
    *, entries: Iterable[HoursEntry], of: Worker, recorded_at: datetime, recorded_by: Account | None
) -> list[CountersignatureRequest]:
    """Ask somebody to countersign entries, all or none."""
    with refusals(), transaction.atomic():
        return CountersignatureRequest.objects.bulk_create(
            CountersignatureRequest(entry=each, of=of, recorded_at=recorded_at, recorded_by=recorded_by)
            for each in entries
        )


def ask_about(
    *, employer: Employer, entry_ids: Iterable[int], of: Worker, recorded_at: datetime, recorded_by: Account | None
) -> list[CountersignatureRequest]:
    """Ask somebody to countersign the employer's entries that wait for nobody yet, all or none."""
    wanted = set(entry_ids)
    if not wanted:
        raise RecordRefused([broken("an_entry_is_chosen")])
    entries = list(nobody_asked(employer).filter(pk__in=wanted))
    if len(entries) != len(wanted):
        raise RecordRefused([broken("entry_waits_for_nobody")])
    return ask_for_countersignature(entries=entries, of=of, recorded_at=recorded_at, recorded_by=recorded_by)


@repeating
def sign_entries(*, entry_ids: Iterable[int], signer: Worker, at: datetime, recorded_by: Account) -> int:
    """Countersign entries that wait for the signer, all or none; how many there were.

    The account needs a second factor: a password alone signs nothing.
    """
    _require_own_account(signer, recorded_by)
    require_second_factor(recorded_by)
    with transaction.atomic(), as_one_act():
        waiting = _waiting_entries(entry_ids, signer)
        for entry in waiting:
            countersign(entry=entry, by=signer, at=at, recorded_at=at, recorded_by=recorded_by)
    return len(waiting)


@repeating
def decline_entries(
    *, entry_ids: Iterable[int], signer: Worker, reason: str, at: datetime, recorded_by: Account
) -> list[EntryObjection]:
    """Decline to countersign, with a reason that goes back to the employer as a question; all or none."""
    _require_own_account(signer, recorded_by)
    with refusals(), transaction.atomic():
        return EntryObjection.objects.bulk_create(
            EntryObjection(entry=entry, by=signer, reason=reason.strip(), recorded_at=at, recorded_by=recorded_by)
            for entry in _waiting_entries(entry_ids, signer)
        )


@repeating
def answer_objection(
    *, objection: EntryObjection, reply: str, recorded_at: datetime, recorded_by: Account | None
) -> ObjectionAnswer:
    """Let the entry stand and say why; it waits for the signer again."""
    with refusals(), transaction.atomic():
        return ObjectionAnswer.objects.create(
            objection=objection, reply=reply.strip(), recorded_at=recorded_at, recorded_by=recorded_by
        )


def _require_own_account(signer: Worker, account: Account) -> None:
    """A signature is given through the signer's own account and no other."""
    if account.worker_id != signer.pk:
        raise RecordRefused([broken("signer_signs_with_their_own_account")])


def _waiting_entries(entry_ids: Iterable[int], signer: Worker) -> list[HoursEntry]:
    wanted = set(entry_ids)
    if not wanted:
        raise RecordRefused([broken("an_entry_is_chosen")])
    found = [each.entry for each in waiting_for(signer).filter(Q(entry__in=wanted))]
    if len(found) != len(wanted):
        raise RecordRefused([broken("entry_waits_for_the_signer")])
    return found
