"""Case files: people, evidence, a standard and a question in one JSON document.

The format is ``case.schema.json``; ``fixtures/cases/README.md`` teaches it.
:func:`read_case` raises :class:`BadInput` with the JSON path of what is wrong.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec
from msgspec import UNSET, UnsetType

from registry.engine.bad_input import BadInput
from registry.engine.calendar import start_of_day
from registry.engine.evidence import (
    Appointment,
    Assessment,
    Certification,
    CertificationStatus,
    Countersignature,
    CranePlacement,
    Employer,
    Evidence,
    FamilyDeclaration,
    HoursEntry,
    Instruction,
    LanguageSkill,
    Model,
    Person,
    Record,
    StandDown,
    StandDownSuspension,
)
from registry.engine.files import case_format
from registry.engine.files.checks import MOST_VALUES, check_depth, check_schema, check_text
from registry.engine.files.schemas import CASE, SHIPPED, STANDARD
from registry.engine.files.shipped import Shipped, named_standard
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question
from registry.engine.standard import Standard

LONGEST_ENTRY = timedelta(hours=24)
YEARS = range(1900, 3000)
SPOKEN_ALL_ALONG = datetime.min.replace(tzinfo=UTC)
HALF_A_CHARACTER = re.compile(r"\\u[dD][89a-fA-F]")
"""How JSON may write half of a surrogate pair."""

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class Case:
    """A parsed case file. ``expected`` is what a worked case says the answer is."""

    title: str
    evidence: Evidence
    standard: Standard
    question: Question
    expected: dict[str, Any] = field(default_factory=dict)


def read_case(text: str | bytes, *, shipped: Callable[[], Shipped] = lambda: ()) -> Case:
    """Parse a case file; raises :class:`BadInput`.

    ``shipped`` gives the standards that a case may name instead of repeating one.
    """
    try:
        text = text.decode("utf-8-sig") if isinstance(text, bytes) else text
        data = json.loads(text, object_pairs_hook=_without_duplicates)
    except RecursionError:
        raise BadInput("$", "nested far too deep") from None
    except UnicodeDecodeError as error:
        raise BadInput("$", f"not UTF-8: byte {error.start}") from None
    except json.JSONDecodeError as error:
        raise BadInput("$", f"not JSON: {error.msg} at line {error.lineno}, column {error.colno}") from None
    except BadInput:
        raise
    except ValueError:
        raise BadInput("$", "a number with far too many digits") from None
    if _may_be_too_much(text):
        _check(data)
    try:
        return _read(data, shipped)
    except BadInput:
        # What is wrong with the form of the file is said first, and in the words of its schema.
        _check(data)
        raise


def _without_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    content = dict(pairs)
    if len(content) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise BadInput("$", f"the key {twice!r} stands twice in one object")
    return content


def _may_be_too_much(text: str) -> bool:
    """Whether there may be more values than are read, or text that is not Unicode; most often not."""
    if sum(map(text.count, ",[{")) >= MOST_VALUES or HALF_A_CHARACTER.search(text):
        return True
    try:
        text.encode()
    except UnicodeEncodeError:
        return True
    return False


def _check(data: Any) -> None:
    check_depth(data)
    check_text(data)
    check_schema(data, CASE)


def _read(data: Any, shipped: Callable[[], Shipped]) -> Case:
    try:
        case = msgspec.convert(data, case_format.CaseInFile)
    except msgspec.ValidationError as error:
        raise BadInput("$", str(error)) from None
    check_depth({"standard": case.standard})
    check_schema(case.standard, SHIPPED if "shipped" in case.standard else STANDARD)
    if case.expected is not UNSET:
        distinct(case.expected.not_met, "$.expected.not_met")
        distinct(case.expected.reasons, "$.expected.reasons")
    return _Reader(case, shipped).case(data.get("expected", {}))


class _Reader:
    """Makes values of a case file. What is wrong in a record is named by its path within that record."""

    def __init__(self, file: case_format.CaseInFile, shipped: Callable[[], Shipped]) -> None:
        self.file = file
        self.shipped = shipped
        self.zone = self.time_zone(file.question.time_zone, "$.question.time_zone")
        self.people = self.named("people", file.people, lambda each: Person(each.id, each.name))
        self.employers = self.named("employers", file.employers, lambda each: Employer(each.id, each.name))
        self.models = self.named(
            "models", file.models, lambda each: Model(each.id, each.maker, each.designation, each.crane_class)
        )
        self.places: dict[str, tuple[str, int]] = {}

    def case(self, expected: dict[str, Any]) -> Case:
        evidence = Evidence(
            people=self.people,
            employers=self.employers,
            models=self.models,
            families=self.records("families", self.family),
            placements=self.records("placements", self.placement),
            hours=self.records("hours", self.hours),
            assessments=self.records("assessments", self.assessment),
            certifications=self.records("certifications", self.certification),
            certification_statuses=self.records("certification_statuses", self.certification_status),
            instruction=self.records("instruction", self.instruction),
            appointments=self.records("appointments", self.appointment),
            stand_downs=self.records("stand_downs", self.stand_down),
            stand_down_suspensions=self.records("stand_down_suspensions", self.stand_down_suspension),
            languages=self.records("languages", self.language),
        )
        self.check_references_between(evidence)
        standard = self.standard(self.file.standard)
        question = within("$.question", self.question, self.file.question)
        return Case(self.file.title, evidence, standard, question, expected)

    def standard(self, content: dict[str, Any]) -> Standard:
        if "shipped" in content:
            return named_standard(content, self.shipped(), figures=self.file.figures)
        return parse_standard(content, figures=self.file.figures, path="$.standard")

    # Kinds of record

    def family(self, each: case_format.FamilyInFile) -> FamilyDeclaration:
        distinct(each.models, "models")
        for index, model in enumerate(each.models):
            self.known_model(model, f"models[{index}]")
            if self.models[model].maker != each.maker:
                raise BadInput(f"models[{index}]", "only the model's own maker can declare a family")
        start = self.day(each.valid_from, "valid_from")
        until = self.day_or_none(each.valid_until, "valid_until")
        if until is not None and until < start:
            raise BadInput("valid_until", "is before valid_from")
        return FamilyDeclaration(
            **self.common(each, start_of_day(start, self.zone)),
            maker=each.maker,
            models=frozenset(each.models),
            document=each.document,
            valid_from=start,
            valid_until=until,
        )

    def placement(self, each: case_format.PlacementInFile) -> CranePlacement:
        start, end = self.span(each.start, each.end)
        return CranePlacement(
            **self.common(each, start),
            crane=each.crane,
            model=self.known_model(each.model),
            site=each.site,
            start=start,
            end=end,
        )

    def hours(self, each: case_format.HoursInFile) -> HoursEntry:
        start = self.instant(each.start, "start")
        end = self.instant(each.end, "end")
        if end <= start:
            raise BadInput("end", "is not after start")
        if end - start > LONGEST_ENTRY:
            raise BadInput("end", "one entry cannot be longer than 24 hours")
        common = self.common(each, end)
        if common["recorded_at"] < end:
            raise BadInput("recorded_at", "hours recorded before they were worked")
        signatures = each_within(
            "countersignatures", lambda signature: self.countersignature(signature, end), each.countersignatures
        )
        return HoursEntry(
            **common,
            worker=self.worker(each.worker),
            model=self.known_model(each.model),
            operation=each.operation,
            start=start,
            end=end,
            employer=self.known(each.employer, self.employers, "employer", "employer"),
            capacity=each.capacity,
            configuration=stated(each.configuration),
            zone=self.zone if each.time_zone is UNSET else self.time_zone(each.time_zone, "time_zone"),
            crane=stated(each.crane),
            site=stated(each.site),
            origin=each.origin,
            document=stated(each.document),
            issuer=stated(each.issuer),
            countersignatures=signatures,
        )

    def countersignature(self, each: case_format.CountersignatureInFile, worked_until: datetime) -> Countersignature:
        at = self.instant(each.at, "at")
        if at < worked_until:
            raise BadInput("at", "signed before the work ended")
        recorded_at = self.recorded(each.recorded_at, at)
        if recorded_at < at:
            raise BadInput("recorded_at", "recorded before it was signed")
        return Countersignature(self.known(each.by, self.people, "by", "person"), at, recorded_at)

    def assessment(self, each: case_format.AssessmentInFile) -> Assessment:
        distinct(each.operations, "operations")
        assessed_at = self.instant(each.assessed_at, "assessed_at")
        if self.recorded(each.recorded_at, assessed_at) < assessed_at:
            raise BadInput("recorded_at", "an assessment recorded before it was given")
        third_party = each.on_behalf_of == "third_party"
        employer = None
        if not third_party:
            employer = self.known(each.on_behalf_of, self.employers, "on_behalf_of", "employer")
        return Assessment(
            **self.common(each, assessed_at),
            worker=self.worker(each.worker),
            role=each.role,
            model=self.known_model(each.model),
            operations=frozenset(each.operations),
            assessed_at=assessed_at,
            outcome=each.outcome,
            assessor=self.known(each.assessor, self.people, "assessor", "person"),
            third_party=third_party,
            employer=employer,
            kind=each.kind,
            configuration=stated(each.configuration),
            signed_by_assessor=each.signed_by_assessor,
        )

    def certification(self, each: case_format.CertificationInFile) -> Certification:
        for name in ("scope", "models", "classes"):
            distinct(getattr(each, name), name)
        issued = self.day(each.issued, "issued")
        expires = self.day_or_none(each.expires, "expires")
        if expires is not None and expires < issued:
            raise BadInput("expires", "expires before it was issued")
        for index, model in enumerate(each.models):
            self.known_model(model, f"models[{index}]")
        return Certification(
            **self.common(each, start_of_day(issued, self.zone)),
            worker=self.worker(each.worker),
            scheme=each.scheme,
            number=each.number,
            issued=issued,
            expires=expires,
            scope=frozenset(each.scope),
            models=frozenset(each.models),
            classes=frozenset(each.classes),
        )

    def certification_status(self, each: case_format.StatusInFile) -> CertificationStatus:
        effective_at = self.instant(each.effective_at, "effective_at")
        return CertificationStatus(
            **self.common(each, effective_at),
            worker=self.worker(each.worker),
            certification=each.certification,
            status=each.status,
            effective_at=effective_at,
        )

    def instruction(self, each: case_format.InstructionInFile) -> Instruction:
        completed_at = self.instant(each.completed_at, "completed_at")
        model = None if each.model is UNSET else self.known_model(each.model)
        return Instruction(
            **self.common(each, completed_at),
            worker=self.worker(each.worker),
            topic=each.topic,
            completed_at=completed_at,
            provider=each.provider,
            model=model,
            after_stand_down=stated(each.after_stand_down),
        )

    def appointment(self, each: case_format.AppointmentInFile) -> Appointment:
        start, end = self.span(each.start, each.end)
        model = None if each.model is UNSET else self.known_model(each.model)
        if each.kind == "maker_instructor" and each.maker is UNSET:
            raise BadInput("maker", "a maker's instructor needs the maker")
        if each.kind != "maker_instructor":
            if each.employer is UNSET:
                raise BadInput("employer", "the employer is missing")
            self.known(each.employer, self.employers, "employer", "employer")
        return Appointment(
            **self.common(each, start),
            worker=self.worker(each.worker),
            duty=each.duty,
            start=start,
            end=end,
            kind=each.kind,
            employer=stated(each.employer),
            maker=stated(each.maker),
            document=stated(each.document),
            stop_work_authority=each.stop_work_authority,
            model=model,
        )

    def stand_down(self, each: case_format.StandDownInFile) -> StandDown:
        start = self.instant(each.start, "start")
        model = None if each.model is UNSET else self.known_model(each.model)
        only_at = stated(each.only_at)
        if only_at is not None:
            self.known(only_at, self.employers, "only_at", "employer")
        return StandDown(
            **self.common(each, start),
            worker=self.worker(each.worker),
            start=start,
            reason=each.reason,
            role=stated(each.role),
            model=model,
            only_at=only_at,
        )

    def stand_down_suspension(self, each: case_format.SuspensionInFile) -> StandDownSuspension:
        start, end = self.span(each.start, each.end)
        return StandDownSuspension(
            **self.common(each, start),
            worker=self.worker(each.worker),
            stand_down=each.stand_down,
            start=start,
            end=end,
        )

    def language(self, each: case_format.LanguageInFile) -> LanguageSkill:
        # Without a date of its own a language has been spoken all along.
        return LanguageSkill(
            **self.common(each, SPOKEN_ALL_ALONG),
            worker=self.worker(each.worker),
            language=each.language,
        )

    def question(self, each: case_format.QuestionInFile) -> Question:
        start, end = self.span(each.start, each.end)
        assert end is not None
        return Question(
            worker=self.worker(each.worker),
            role=each.role,
            model=self.known_model(each.model),
            operation=each.operation,
            employer=self.known(each.employer, self.employers, "employer", "employer"),
            jurisdiction=each.jurisdiction,
            start=start,
            end=end,
            zone=self.zone,
            configuration=stated(each.configuration),
            working_language=stated(each.working_language),
            known_at=None if each.known_at is UNSET else self.instant(each.known_at, "known_at"),
        )

    # Parts of a record

    def records(self, kind: str, read: Callable[[Any], Value]) -> tuple[Value, ...]:
        def read_once(record: case_format.RecordInFile) -> Value:
            if record.id in self.places:
                raise BadInput("id", f"{record.id!r} is already {self.place_of(record.id)}")
            self.places[record.id] = kind, len(self.places) - before
            return read(record)

        before = len(self.places)
        return each_within(f"$.{kind}", read_once, getattr(self.file, kind))

    def place_of(self, record: str) -> str:
        """Where the record stands in the file."""
        kind, index = self.places[record]
        return f"$.{kind}[{index}]"

    def common(self, each: case_format.RecordInFile, happened_at: datetime) -> dict[str, Any]:
        """What every record carries; recorded when it happened unless the file says otherwise."""
        return {
            "id": each.id,
            "recorded_at": self.recorded(each.recorded_at, happened_at),
            "recorded_by": stated(each.recorded_by),
            "supersedes": stated(each.supersedes),
            "withdrawn": each.withdrawn,
        }

    def recorded(self, text: str | UnsetType, happened_at: datetime) -> datetime:
        return happened_at if text is UNSET else self.instant(text, "recorded_at")

    def named(self, kind: str, entries: Sequence[Any], make: Callable[[Any], Value]) -> dict[str, Value]:
        made: dict[str, Value] = {}
        for index, entry in enumerate(entries):
            if entry.id in made:
                raise BadInput(f"$.{kind}[{index}].id", f"{entry.id!r} is already taken")
            made[entry.id] = make(entry)
        return made

    def known(self, key: str, among: dict[str, Any], path: str, what: str) -> str:
        if key not in among:
            raise BadInput(path, f"unknown {what} {key!r}")
        return key

    def known_model(self, key: str, path: str = "model") -> str:
        return self.known(key, self.models, path, "crane model")

    def worker(self, key: str) -> str:
        return self.known(key, self.people, "worker", "person")

    def span(self, start_text: str, end_text: str | None) -> tuple[datetime, datetime | None]:
        start = self.instant(start_text, "start")
        end = None
        if end_text is not None:
            end = self.instant(end_text, "end")
            if end <= start:
                raise BadInput("end", "is not after start")
        return start, end

    def instant(self, text: str, path: str) -> datetime:
        try:
            instant = datetime.fromisoformat(text)
        except ValueError:
            raise BadInput(path, f"{text!r} is not an ISO 8601 instant") from None
        if instant.year not in YEARS:
            raise BadInput(path, f"{text!r} is not within the years {YEARS[0]} to {YEARS[-1]}")
        if instant.tzinfo is None:
            raise BadInput(path, f"{text!r} has no offset from UTC")
        instant = instant.astimezone(UTC)
        if instant.second or instant.microsecond:
            raise BadInput(path, f"{text!r} is not a whole minute")
        return instant

    def day(self, text: str, path: str) -> date:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise BadInput(path, f"{text!r} is not a date (YYYY-MM-DD)") from None

    def day_or_none(self, text: str | None, path: str) -> date | None:
        return None if text is None else self.day(text, path)

    def time_zone(self, name: str, path: str) -> ZoneInfo:
        try:
            return ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            raise BadInput(path, f"unknown time zone {name!r}") from None

    # Between records

    def check_references_between(self, evidence: Evidence) -> None:
        kinds = dict(evidence.record_kinds())
        by_id: dict[str, tuple[str, Record]] = {
            each.id: (kind, each) for kind, records in kinds.items() for each in records
        }
        self.check_corrections(by_id)
        for status in evidence.certification_statuses:
            self.check_reference(status.certification, "certifications", status, "certification", by_id)
        for suspended in evidence.stand_down_suspensions:
            self.check_reference(suspended.stand_down, "stand_downs", suspended, "stand_down", by_id)
        for course in evidence.instruction:
            if course.after_stand_down is not None:
                self.check_reference(course.after_stand_down, "stand_downs", course, "after_stand_down", by_id)

    def check_corrections(self, by_id: dict[str, tuple[str, Record]]) -> None:
        corrected: dict[str, str] = {}
        for key, (kind, record) in by_id.items():
            if record.supersedes is None:
                if record.withdrawn:
                    raise BadInput(f"{self.place_of(key)}.withdrawn", "a withdrawal must say what it supersedes")
                continue
            path = f"{self.place_of(key)}.supersedes"
            self.check_reference(record.supersedes, kind, record, "supersedes", by_id)
            if record.supersedes in corrected:
                raise BadInput(path, f"{record.supersedes!r} is already superseded by {corrected[record.supersedes]!r}")
            if by_id[record.supersedes][1].recorded_at > record.recorded_at:
                raise BadInput(path, "a correction recorded before its original")
            corrected[record.supersedes] = key
        for key in corrected.values():
            seen = {key}
            following: str | None = by_id[key][1].supersedes
            while following is not None:
                if following in seen:
                    raise BadInput(f"{self.place_of(key)}.supersedes", "supersedes itself")
                seen.add(following)
                following = by_id[following][1].supersedes

    def check_reference(
        self,
        target: str,
        kind: str,
        record: Record,
        attribute: str,
        by_id: dict[str, tuple[str, Record]],
    ) -> None:
        path = f"{self.place_of(record.id)}.{attribute}"
        if target not in by_id or by_id[target][0] != kind:
            raise BadInput(path, f"{target!r} is not among the {kind.replace('_', ' ')}")
        of_target = getattr(by_id[target][1], "worker", None)
        if of_target != getattr(record, "worker", None):
            raise BadInput(path, f"{target!r} is about another worker")


def within(path: str, read: Callable[[Any], Value], content: Any) -> Value:
    """What ``read`` makes of the content; what is wrong with it is named by a path that begins with ``path``."""
    try:
        return read(content)
    except BadInput as error:
        raise BadInput(f"{path}.{error.path}", error.message) from None


def each_within(path: str, read: Callable[[Any], Value], entries: Sequence[Any]) -> tuple[Value, ...]:
    """What ``read`` makes of each entry of a list."""
    made: list[Value] = []
    try:
        for entry in entries:
            made.append(read(entry))
    except BadInput as error:
        raise BadInput(f"{path}[{len(made)}].{error.path}", error.message) from None
    return tuple(made)


def stated(value: Value | UnsetType) -> Value | None:
    """The value, or ``None`` where the file says nothing."""
    return None if value is UNSET else value


def distinct(values: Sequence[str], path: str) -> None:
    """Refuse a list that says one thing twice."""
    if len(set(values)) < len(values):
        raise BadInput(path, "says one thing twice")
