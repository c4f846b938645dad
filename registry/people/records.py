"""Correcting and withdrawing append-only records, and naming the rules a record breaks."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any, TypeVar

from registry.database.errors import SENTENCES, Problem, RecordRefused
from registry.database.records import Record

if TYPE_CHECKING:
    from registry.people.models import Account

AnyRecord = TypeVar("AnyRecord", bound=Record)

# What a record is about, in order of precedence: a correction leaves it as it is.
SUBJECTS = ("worker", "crane", "maker")

# A line of an import is brought in once; its correction is not the line.
NEVER_COPIED = {"id", "recorded_at", "recorded_by", "supersedes", "withdrawn", "imported_line"}


def broken(rule: str, *, field: str | None = None) -> Problem:
    """The problem of a rule that the database holds too, in the same words."""
    named, sentence = SENTENCES[rule]
    return Problem(named if field is None else field, rule, sentence)


def refuse_if(problems: list[Problem]) -> None:
    """Raise :class:`RecordRefused` if there is any problem."""
    if problems:
        raise RecordRefused(problems)


def correction_of(
    record: AnyRecord,
    *,
    recorded_at: datetime,
    recorded_by: Account | None,
    withdrawn: bool = False,
    changes: dict[str, Any] | None = None,
) -> AnyRecord:
    """An unsaved copy that supersedes ``record``, with the named fields changed.

    Raises ``TypeError`` for a field that a correction cannot change, and :class:`RecordRefused` if
    ``record`` is withdrawn, corrected already, or was recorded later than ``recorded_at``.
    """
    changes = changes or {}
    names = {each.name for each in record._meta.concrete_fields}
    subject = next(each for each in SUBJECTS if each in names)
    if unknown := changes.keys() - (names - NEVER_COPIED - {subject}):
        raise TypeError(f"A correction cannot change {', '.join(sorted(unknown))}.")
    refuse_if(_correction_problems(record, recorded_at))
    kept = {
        each.attname: getattr(record, each.attname)
        for each in record._meta.concrete_fields
        if each.name not in NEVER_COPIED and each.name not in changes
    }
    return type(record)(
        **kept,
        **changes,
        supersedes=record,
        withdrawn=withdrawn,
        recorded_at=recorded_at,
        recorded_by=recorded_by,
    )


def _correction_problems(record: Record, recorded_at: datetime) -> list[Problem]:
    problems = []
    if record.withdrawn:
        problems.append(
            Problem("supersedes", "withdrawn_record_stays_withdrawn", "The record has been withdrawn; record it anew.")
        )
    if type(record)._default_manager.filter(supersedes=record.pk).exists():
        problems.append(
            Problem("supersedes", "record_is_corrected_once", "This record has been corrected already.")
        )
    if recorded_at < record.recorded_at:
        problems.append(
            Problem(
                "recorded_at",
                "correction_is_recorded_after_the_record",
                "A correction cannot be recorded before what it corrects.",
            )
        )
    return problems
