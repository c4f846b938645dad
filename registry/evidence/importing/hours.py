"""Bringing in hands-on hours."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Max

from registry.database.errors import RecordRefused, broken
from registry.engine.calendar import MINUTE, end_of_day, start_of_day
from registry.evidence.importing.columns import Field, folded
from registry.evidence.importing.kind import (
    MODEL_FIELDS,
    OPERATION_SPELLINGS,
    ROLE_SPELLINGS,
    WORKER_FIELDS,
    Context,
    Kind,
)
from registry.evidence.importing.rows import MappedRow
from registry.evidence.models import HoursEntry
from registry.evidence.services import (
    NewHours,
    hours_of_days,
    hours_problems,
    insert_hours,
    lock_days_of,
)

ORIGIN_SPELLINGS = {"register": "register", "registre": "register", "paper": "paper", "papier": "paper"}
IMPORT_SPELLINGS = ("import", "imported", "importe")


class Hours(Kind):
    """Hands-on hours, a day's work or a part of it in each row."""

    name = "hours"
    fields = (
        *WORKER_FIELDS,
        *MODEL_FIELDS,
        Field("site", ("job site", "chantier"), True),
        Field("date", ("day", "start date", "date of work", "jour"), True),
        Field("start", ("from", "start time", "début", "de", "heure de début"), True),
        Field("end", ("to", "until", "end time", "fin", "à", "heure de fin")),
        Field("end_date", ("end day", "date de fin")),
        Field("duration", ("hours", "hours worked", "durée", "heures")),
        Field("operation", ("task", "work", "opération"), True),
        Field("capacity", ("role", "as", "worked as", "rôle", "fonction", "qualité")),
        Field("crane", ("serial number", "crane serial", "crane serial number", "numéro de série"), longest=100),
        Field("countersigner", ("countersigned by", "signed by", "contresigné par", "contresignataire")),
        Field("countersigner_date_of_birth", ("countersigner born", "contresignataire né le")),
        Field("countersigned_on", ("date countersigned", "signed on", "contresigné le")),
        Field("countersigned_at", ("time countersigned", "signed at", "heure du contreseing")),
        Field("origin", ("source", "origine")),
    )
    one_of = (("end", "duration"),)
    most_rows = 10_000
    signatures = frozenset({"countersigner", "countersigner_date_of_birth", "countersigned_on", "countersigned_at"})
    shown_at = {
        "end": "duration",
        "by": "countersigner",
        "at": "countersigned_at",
        "countersigned_at": "countersigned_on",
    }

    def __init__(self, context: Context) -> None:
        super().__init__(context)
        self._last_before = HoursEntry.objects.aggregate(last=Max("id"))["last"] or 0

    def write(self, rows: Sequence[MappedRow]) -> None:
        read = [(row, self._read(row)) for row in rows]
        fresh = self._not_there_yet([(row, new) for row, new in read if new is not None])
        if not self.context.report.dry_run:
            lock_days_of({new.worker.pk for _, new in fresh})
        taken = self._recorded_spans([new for _, new in fresh])
        days = hours_of_days([new for _, new in fresh])
        lines = set()
        sound = []
        for row, new in fresh:
            span = (new.worker.pk, new.start, new.end)
            if new.imported_line in lines:
                self.context.report.already_there += 1
                self.context.report.repeated += 1
                continue
            if span in taken:
                row.refuse("start", "hours_are_brought_in_once", number=new.worker.number)
            else:
                row.add(hours_problems(new, recorded_at=self.context.recorded_at), self.shown_at)
            if not row.problems:
                row.add(days.problems(new), self.shown_at)
            if not row.problems:
                lines.add(new.imported_line)
                taken.add(span)
                sound.append((row, new))
        self._insert(sound)
        for row in rows:
            if row.problems:
                self.context.report.refuse(row.problems)

    def _insert(self, sound: Sequence[tuple[MappedRow, NewHours]]) -> None:
        recorded_at, recorded_by = self.context.recorded_at, self.context.recorded_by
        try:
            insert_hours(rows=[new for _, new in sound], recorded_at=recorded_at, recorded_by=recorded_by)
        except RecordRefused as refused:
            if len(sound) == 1:
                sound[0][0].add(refused.problems, self.shown_at)
                return
            # The database refuses a batch as a whole; halve it until the rows are found.
            middle = len(sound) // 2
            self._insert(sound[:middle])
            self._insert(sound[middle:])
        else:
            self.context.report.new += len(sound)

    def _not_there_yet(self, read: Sequence[tuple[MappedRow, NewHours]]) -> list[tuple[MappedRow, NewHours]]:
        lines = [new.imported_line for _, new in read]
        there = dict(HoursEntry.objects.filter(imported_line__in=lines).values_list("imported_line", "id"))
        fresh = []
        for row, new in read:
            if new.imported_line in there:
                self.context.report.already_there += 1
                self.context.report.repeated += there[new.imported_line] > self._last_before
            else:
                fresh.append((row, new))
        return fresh

    def _recorded_spans(self, fresh: Sequence[NewHours]) -> set[tuple[int, datetime, datetime]]:
        recorded = HoursEntry.objects.current().filter(
            worker__in={new.worker.pk for new in fresh}, end__in={new.end for new in fresh}
        )
        return set(recorded.values_list("worker_id", "start", "end"))

    def _read(self, row: MappedRow) -> NewHours | None:
        worker, model = self._worker(row, "worker"), self._model(row)
        configuration = self._configuration(row, model)
        row.required("site")
        site = self._site(row)
        row.required("operation")
        operation = row.choice("operation", OPERATION_SPELLINGS)
        capacity = row.choice("capacity", ROLE_SPELLINGS, default="erector")
        origin = self._origin(row)
        serial_number = row.text("crane")
        crane = None
        if serial_number and model is not None:
            crane = row.take("crane", lambda: self.context.lookup.crane(model, serial_number))
        zone = ZoneInfo(site.time_zone) if site else None
        start, end = self._window(row, zone)
        countersigner = self._worker(row, "countersigner", required=False)
        countersigned_at = self._countersigned_at(row, zone)
        if row.problems or not (worker and model and site and start and end):
            return None
        written_signature = (row.day("countersigned_on"), row.clock("countersigned_at"))
        return NewHours(
            worker=worker,
            model=model,
            configuration=configuration,
            operation=operation,
            capacity=capacity,
            start=start,
            end=end,
            employer=self.context.employer,
            site=site,
            crane=crane,
            origin=origin,
            document=self.context.options.document if origin == "paper" else None,
            countersigner=countersigner,
            countersigned_at=countersigned_at,
            imported_line=_fingerprint(
                self.context.employer.pk,
                worker.pk,
                model.pk,
                configuration,
                operation,
                capacity,
                start.isoformat(),
                end.isoformat(),
                site.pk,
                crane and crane.pk,
                origin,
                countersigner and countersigner.pk,
                *written_signature,
            ),
        )

    def _origin(self, row: MappedRow) -> str:
        if folded(row.text("origin")) in IMPORT_SPELLINGS:
            row.refuse("origin", "hours_of_another_register_are_signed")
            return ""
        # In the register people sign with their own accounts: what a table says of a signature is copied from paper.
        signed = row.has("countersigner")
        origin = row.choice("origin", ORIGIN_SPELLINGS, default="paper" if signed else "register")
        if signed and origin == "register":
            row.add([broken("a_signature_without_an_account_has_its_paper")], {"by": "countersigner"})
        return origin

    def _window(self, row: MappedRow, zone: ZoneInfo | None) -> tuple[datetime | None, datetime | None]:
        row.required("date")
        row.required("start")
        day, last_day = row.day("date"), row.day("end_date")
        opens, closes, length = row.clock("start"), row.clock("end"), row.duration("duration")
        if not row.has("end") and not row.has("duration"):
            row.refuse("end", "end_or_duration_is_given")
        if zone is None or day is None or opens is None:
            return None, None
        start = row.instant("start", day, opens, zone)
        end = row.instant("end", last_day or day, closes, zone) if closes is not None else None
        if start is None:
            return None, None
        if length is not None and not row.has("end"):
            return start, start + length
        if end is not None and length is not None and start + length != end:
            said = {"between": _hours(end - start), "duration": _hours(length)}
            row.refuse("duration", "duration_is_from_start_to_end", **said)
        return start, end

    def _countersigned_at(self, row: MappedRow, zone: ZoneInfo | None) -> datetime | None:
        day, clock = row.day("countersigned_on"), row.clock("countersigned_at")
        if row.has("countersigned_on") and not row.has("countersigner"):
            row.refuse("countersigner", "countersignature_names_its_signer")
        if day is None or zone is None:
            return None
        if clock is not None:
            return row.instant("countersigned_at", day, clock, zone)
        # A date alone says no more than that it was signed by the end of that day.
        if start_of_day(day, zone) <= self.context.recorded_at < end_of_day(day, zone):
            return self.context.recorded_at
        return end_of_day(day, zone) - MINUTE


def _fingerprint(*parts: object) -> str:
    written = "\x1f".join("" if each is None else str(each) for each in parts)
    return hashlib.sha256(f"hours 1\x1f{written}".encode()).hexdigest()


def _hours(length: timedelta) -> str:
    minutes = length // MINUTE
    sign = "-" if minutes < 0 else ""
    return f"{sign}{abs(minutes) // 60} h {abs(minutes) % 60} min"
