"""The training transcript on paper: what the worker carries away and an auditor reads."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import translation
from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from registry.engine.calendar import INSTANT, local_date
from registry.language import amounts, words
from registry.transcripts.check import Check
from registry.transcripts.hours_chart import hours_chart
from registry.transcripts.long_table import Column, Group, LongTable, Row
from registry.transcripts.printing import Attachment, render
from registry.transcripts.transcript import CLAIMED, IMPORTED, Hours, Kept, Transcript, number_of

DATA_NAME, DATA_TYPE = "transcript.json", "application/json"


def print_transcript(
    transcript: Transcript,
    *,
    printed_at: datetime,
    language: str = "en",
    paper: str = "A4",
    check: Check | None = None,
) -> bytes:
    """The transcript as a tagged PDF with ``transcript.json`` embedded, not signed yet (see ``signing.sign``)."""
    with translation.override(language):
        table = _entries_table(transcript)
        context = {
            "transcript": transcript,
            "printed_at": printed_at,
            "check": check,
            "chart": hours_chart(transcript.minutes_by_model_and_year),
            "standing_entries": sum(each.entries for each in transcript.totals),
            "claimed_minutes": sum(each.claimed_minutes for each in transcript.totals),
            "as_trainee_minutes": sum(each.as_trainee_minutes for each in transcript.totals),
            "stand_downs": [
                (
                    each,
                    _named(each.retraining, transcript.instruction),
                    _named(each.passed_after, transcript.assessments),
                )
                for each in transcript.stand_downs
            ],
            "not_standing": len(transcript.hours) - sum(each.entries for each in transcript.totals),
        }
        data = Attachment(DATA_NAME, DATA_TYPE, transcript.canonical, _("This transcript as data"), "Source")
    return render(
        template="transcript.html",
        context=context,
        language=language,
        created_at=printed_at,
        paper=paper,
        attachments=[data],
        long_table=table,
    )


def _named(records: Iterable[str], among: Iterable[Any]) -> list[Any]:
    wanted = set(records)
    return [each for each in among if each.record in wanted]


def _entries_table(transcript: Transcript) -> LongTable | None:
    if not transcript.hours:
        return None
    columns = (
        Column(_("No."), 9, figures=True),
        Column(_("When"), 15),
        Column(_("Hours"), 9, figures=True),
        Column(_("Crane"), 21),
        Column(_("Work"), 17),
        Column(_("Site, employer"), 27),
        Column(_("How recorded"), 28),
    )
    years: dict[int, list[Hours]] = {}
    for each in transcript.hours:
        years.setdefault(each.year, []).append(each)
    groups = [
        Group(
            str(year),
            _("%(title)s: %(details)s") % {"title": year, "details": _year_in_words(entries)},
            [_row(each) for each in entries],
        )
        for year, entries in years.items()
    ]
    return LongTable(columns, groups, _("continued"))


def _year_in_words(entries: list[Hours]) -> str:
    standing = [each for each in entries if each.current]
    counted = ngettext("%(entries)s entry, %(time)s", "%(entries)s entries, %(time)s", len(standing)) % {
        "entries": amounts.amount(len(standing)),
        "time": amounts.hours_and_minutes(sum(each.minutes for each in standing)),
    }
    gone = len(entries) - len(standing)
    if not gone:
        return counted
    struck = ngettext("and %(gone)d struck out", "and %(gone)d struck out", gone) % {"gone": gone}
    return f"{counted}, {struck}"


def _when(entry: Hours, zone: ZoneInfo) -> tuple[str, ...]:
    """Day and clock; where the work ends on another day, that day too. Midnight ends the day before it."""
    begins, ends = amounts.clock(entry.start, zone), amounts.clock(entry.end, zone)
    first = amounts.day_of_year(entry.start, zone)
    if local_date(entry.start, zone) == local_date(entry.end - INSTANT, zone):
        return first, f"{begins}\N{EN DASH}{ends}"
    return first, f"{begins}\N{EN DASH}", f"{amounts.day_of_year(entry.end, zone)} {ends}"


def _row(entry: Hours) -> Row:
    zone = ZoneInfo(entry.time_zone)
    crane = _("no. %(number)s") % {"number": entry.crane} if entry.crane else _("crane not stated")
    as_what = _("as %(capacity)s") % {"capacity": words.in_words(entry.capacity)}
    return Row(
        (
            (entry.number,),
            _when(entry, zone),
            (amounts.hours_colon_minutes(entry.minutes),),
            (entry.crane_model, entry.configuration, crane),
            (words.in_words(entry.operation), as_what),
            (entry.site, entry.employer),
            (*_fate(entry), *_how_recorded(entry)),
        ),
        struck=not entry.current,
    )


def _how_recorded(entry: Hours) -> Iterable[str]:
    yield words.in_words(entry.provenance)
    if entry.provenance == IMPORTED:
        yield _("from %(issuer)s") % {"issuer": entry.issuer}
    if entry.provenance != CLAIMED:
        yield from (each.name for each in entry.countersignatures)


def _fate(record: Kept) -> Iterable[str]:
    """What became of a record, in words; nothing for one that stands and corrects nothing."""
    if record.supersedes is not None:
        yield _("corrects no. %(number)s") % {"number": number_of(record.supersedes)}
    if record.superseded_by is not None and record.superseded_at is not None:
        yield _("SUPERSEDED by no. %(number)s, %(day)s") % {
            "number": number_of(record.superseded_by),
            "day": amounts.day(record.superseded_at, ZoneInfo("UTC")),
        }
    if record.withdrawn_at is not None:
        yield _("WITHDRAWN %(day)s") % {"day": amounts.day(record.withdrawn_at, ZoneInfo("UTC"))}


def fate_in_words(record: Kept) -> str:
    """What became of a record, as one phrase."""
    return capfirst(words.set_apart(_fate(record)))
