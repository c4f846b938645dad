"""What every kind of record that can be brought in has in common.

A kind turns rows into records by way of the services, which know the rules;
here is only how a row is read and how one that is there already is told.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db import transaction

from registry.database.errors import RecordRefused
from registry.engine.evidence import OPERATIONS, ROLES
from registry.equipment.models import CraneModel, Site
from registry.evidence.apart.tables import LARGEST_SHEET
from registry.evidence.importing.columns import Field, folded
from registry.evidence.importing.lookup import Lookup
from registry.evidence.importing.report import ImportReport
from registry.evidence.importing.rows import MappedRow
from registry.evidence.importing.values import DATE_ORDERS
from registry.evidence.models import Document
from registry.people.models import Account, Employer, Worker
from registry.people.registrars import is_registrar


@dataclass(frozen=True, slots=True, kw_only=True)
class ImportOptions:
    """How to read a file.

    ``columns``: headers of the file and the field each one is, blank to leave
    the column out; ``letters``: the same by the columns' letters, for two columns
    may have one header. ``signatures``: whether the file may say that somebody signed
    (a person who can sign with an own account does). ``dates``: what comes first
    in ``03/04/2026``; without it such a date is refused. ``time_zone``: for times
    at no site. ``document``: the scan of the paper that the file transcribes.
    ``largest``: to how many bytes a part of a workbook may unpack.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    letters: Mapping[str, str] = field(default_factory=dict)
    ignore_unknown_columns: bool = False
    dates: str | None = None
    sheet: str | None = None
    encoding: str | None = None
    time_zone: str | None = None
    partial: bool = False
    signatures: bool = True
    document: Document | None = None
    largest: int = LARGEST_SHEET

    def __post_init__(self) -> None:
        if self.dates not in (None, *DATE_ORDERS):
            raise ValueError(f"dates are {' or '.join(DATE_ORDERS)}, not {self.dates!r}")
        if self.time_zone is not None:
            try:
                ZoneInfo(self.time_zone)
            except (ZoneInfoNotFoundError, ValueError, OSError):
                raise ValueError(f"there is no time zone {self.time_zone!r}") from None


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What every row of one import has in common."""

    employer: Employer
    options: ImportOptions
    recorded_at: datetime
    recorded_by: Account | None
    report: ImportReport
    lookup: Lookup

    @property
    def by_the_command(self) -> bool:
        """Whether the registrar brings the table in at the machine, or nobody is named, as in a demonstration."""
        return self.recorded_by is None or is_registrar(self.recorded_by)


OPERATION_SPELLINGS = {folded(each): each for each in OPERATIONS} | {
    "assembly": "erection",
    "montage": "erection",
    "telescopage": "climbing",
    "hissage": "climbing",
    "repositionnement": "repositioning",
    "disassembly": "dismantling",
    "demontage": "dismantling",
}
ROLE_SPELLINGS = {folded(each): each for each in ROLES} | {
    "monteur": "erector",
    "stagiaire": "trainee",
    "apprenti": "trainee",
    "supervisor": "erection_supervisor",
    "chef de montage": "erection_supervisor",
    "engineer": "overseeing_engineer",
    "ingenieur": "overseeing_engineer",
    "elingueur": "rigger",
    "signaleur": "signal_person",
    "operator": "crane_operator",
    "grutier": "crane_operator",
    "evaluateur": "assessor",
}
WORKER_FIELDS = (
    Field("worker", ("worker number", "name", "employee", "travailleur", "salarié", "nom", "matricule"), True),
    Field("worker_date_of_birth", ("date of birth", "born", "date de naissance", "né le")),
)
MODEL_FIELDS = (
    Field("model", ("crane model", "modèle", "modèle de grue", "grue"), True),
    Field("maker", ("manufacturer", "fabricant", "constructeur"), longest=100),
    Field("configuration", ("config",), longest=100),
)


class Kind(ABC):
    """One kind of record; ``write`` stores a batch of rows and counts what became of each."""

    name: ClassVar[str]
    fields: ClassVar[Sequence[Field]]
    one_of: ClassVar[Sequence[Sequence[str]]] = ()
    signatures: ClassVar[frozenset[str]] = frozenset()  # fields that say who signed, and when
    most_rows: ClassVar[int] = 1_000
    """Of a table that somebody hands in on a page and waits for; the command takes any number."""
    shown_at: ClassVar[Mapping[str, str]] = {}  # the field at which a problem is shown if the file lacks its own

    def __init__(self, context: Context) -> None:
        self.context = context

    @classmethod
    def fields_read(cls, options: ImportOptions) -> list[Field]:
        """The fields that a file may bring, by the options."""
        return [each for each in cls.fields if options.signatures or each.name not in cls.signatures]

    @classmethod
    def needs_signatures(cls) -> bool:
        """Whether no row can be told without saying who signed."""
        return any(each.compulsory and each.name in cls.signatures for each in cls.fields)

    @abstractmethod
    def write(self, rows: Sequence[MappedRow]) -> None:
        """Store the rows; what is wrong with one becomes its problem."""

    def _worker(self, row: MappedRow, name: str, *, required: bool = True) -> Worker | None:
        if not row.has(name):
            if required:
                row.required(name)
            return None
        written, born = row.text(name), row.day(f"{name}_date_of_birth")
        if not written or (born is None and row.has(f"{name}_date_of_birth")):
            return None
        return row.take(name, lambda: self.context.lookup.worker(written, born))

    def _model(self, row: MappedRow) -> CraneModel | None:
        if not row.required("model"):
            return None
        maker, designation = row.text("maker"), row.text("model")
        if not designation:
            return None
        named = f"{maker} {designation}"
        return row.take("model", lambda: self.context.lookup.model(named.strip()))

    def _configuration(self, row: MappedRow, model: CraneModel | None) -> str:
        written = row.text("configuration")
        if model is None:
            return written
        return row.take("configuration", lambda: self.context.lookup.configuration(model, written)) or ""

    def _site(self, row: MappedRow) -> Site | None:
        written = row.text("site")
        return row.take("site", lambda: self.context.lookup.site(written)) if written else None


class OneByOne(Kind):
    """A kind whose rows are stored one after the other."""

    def write(self, rows: Sequence[MappedRow]) -> None:
        for row in rows:
            new = False
            try:
                with transaction.atomic():
                    new = self.write_row(row)
                    if row.problems:
                        transaction.set_rollback(True)
            except RecordRefused as refused:
                row.add(refused.problems, self.shown_at)
            if row.problems:
                self.context.report.refuse(row.problems)
            elif new:
                self.context.report.new += 1
            else:
                self.context.report.already_there += 1

    @abstractmethod
    def write_row(self, row: MappedRow) -> bool:
        """Store the row; whether anything was new. What is wrong is added to the row or raised."""
