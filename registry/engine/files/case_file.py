"""Case files: people, evidence, a standard and a question in one JSON document.

The format is ``case.schema.json``; ``fixtures/cases/README.md`` teaches it.
:func:`read_case` raises :class:`BadInput` with the JSON path of what is wrong.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

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
from registry.engine.files.checks import (
    check_depth,
    check_schema,
    check_text,
)
from registry.engine.files.shipped import (
    Shipped,
    named_standard,
)
from registry.engine.files.standard_file import parse_standard
from registry.engine.question import Question
from registry.engine.standard import Standard

LONGEST_ENTRY = timedelta(hours=24)
YEARS = range(1900, 3000)


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
        if isinstance(text, bytes):
            text = text.decode("utf-8-sig")
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
    check_depth(data)
    check_text(data)
    check_schema(data, "case.schema.json")
    return _Reader(data, shipped).case()


def _without_duplicates(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    twice = [key for key, count in Counter(key for key, _ in pairs).items() if count > 1]
    if twice:
        raise BadInput("$", f"the key {twice[0]!r} stands twice in one object")
    return dict(pairs)


class _Reader:
    def __init__(self, data: dict[str, Any], shipped: Callable[[], Shipped]) -> None:
        self.data = data
        self.shipped = shipped
        self.zone = self.time_zone(data["question"]["time_zone"], "$.question.time_zone")
        self.people = self.named("people", lambda each: Person(each["id"], each["name"]))
        self.employers = self.named("employers", lambda each: Employer(each["id"], each["name"]))
        self.models = self.named(
            "models",
            lambda each: Model(each["id"], each["maker"], each["designation"], each["class"]),
        )
        self.ids: dict[str, str] = {}

    def case(self) -> Case:
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
        return Case(
            self.data["title"],
            evidence,
            self.standard(self.data["standard"]),
            self.question(self.data["question"], "$.question"),
            self.data.get("expected", {}),
        )

    def standard(self, each: dict[str, Any]) -> Standard:
        figures = self.data.get("figures")
        if "shipped" in each:
            return named_standard(each, self.shipped(), figures=figures)
        return parse_standard(each, figures=figures, path="$.standard")

    # Kinds of record

    def family(self, each: dict[str, Any], path: str) -> FamilyDeclaration:
        for index, model in enumerate(each["models"]):
            self.known(model, self.models, f"{path}.models[{index}]", "crane model")
            if self.models[model].maker != each["maker"]:
                raise BadInput(f"{path}.models[{index}]", "only the model's own maker can declare a family")
        start = self.day(each["valid_from"], f"{path}.valid_from")
        until = self.day_or_none(each, "valid_until", path)
        if until is not None and until < start:
            raise BadInput(f"{path}.valid_until", "is before valid_from")
        return FamilyDeclaration(
            **self.common(each, path, start_of_day(start, self.zone)),
            maker=each["maker"],
            models=frozenset(each["models"]),
            document=each["document"],
            valid_from=start,
            valid_until=until,
        )

    def placement(self, each: dict[str, Any], path: str) -> CranePlacement:
        start, end = self.span(each, path)
        return CranePlacement(
            **self.common(each, path, start),
            crane=each["crane"],
            model=self.known(each["model"], self.models, f"{path}.model", "crane model"),
            site=each["site"],
            start=start,
            end=end,
        )

    def hours(self, each: dict[str, Any], path: str) -> HoursEntry:
        start = self.instant(each["start"], f"{path}.start")
        end = self.instant(each["end"], f"{path}.end")
        if end <= start:
            raise BadInput(f"{path}.end", "is not after start")
        if end - start > LONGEST_ENTRY:
            raise BadInput(f"{path}.end", "one entry cannot be longer than 24 hours")
        common = self.common(each, path, end)
        if common["recorded_at"] < end:
            raise BadInput(f"{path}.recorded_at", "hours recorded before they were worked")
        signatures = []
        for index, signature in enumerate(each.get("countersignatures", [])):
            signature_path = f"{path}.countersignatures[{index}]"
            at = self.instant(signature["at"], f"{signature_path}.at")
            if at < end:
                raise BadInput(f"{signature_path}.at", "signed before the work ended")
            if self.recorded(signature, signature_path, at) < at:
                raise BadInput(f"{signature_path}.recorded_at", "recorded before it was signed")
            signatures.append(
                Countersignature(
                    self.known(signature["by"], self.people, f"{signature_path}.by", "person"),
                    at,
                    self.recorded(signature, signature_path, at),
                )
            )
        zone = self.zone
        if "time_zone" in each:
            zone = self.time_zone(each["time_zone"], f"{path}.time_zone")
        return HoursEntry(
            **common,
            worker=self.worker(each, path),
            model=self.known(each["model"], self.models, f"{path}.model", "crane model"),
            operation=each["operation"],
            start=start,
            end=end,
            employer=self.employer(each, path),
            capacity=each.get("capacity", "erector"),
            configuration=each.get("configuration"),
            zone=zone,
            crane=each.get("crane"),
            site=each.get("site"),
            origin=each.get("origin", "register"),
            document=each.get("document"),
            issuer=each.get("issuer"),
            countersignatures=tuple(signatures),
        )

    def assessment(self, each: dict[str, Any], path: str) -> Assessment:
        assessed_at = self.instant(each["assessed_at"], f"{path}.assessed_at")
        if self.recorded(each, path, assessed_at) < assessed_at:
            raise BadInput(f"{path}.recorded_at", "an assessment recorded before it was given")
        third_party = each["on_behalf_of"] == "third_party"
        employer = None
        if not third_party:
            employer = self.known(each["on_behalf_of"], self.employers, f"{path}.on_behalf_of", "employer")
        return Assessment(
            **self.common(each, path, assessed_at),
            worker=self.worker(each, path),
            role=each["role"],
            model=self.known(each["model"], self.models, f"{path}.model", "crane model"),
            operations=frozenset(each["operations"]),
            assessed_at=assessed_at,
            outcome=each["outcome"],
            assessor=self.known(each["assessor"], self.people, f"{path}.assessor", "person"),
            third_party=third_party,
            employer=employer,
            kind=each.get("kind", "practical"),
            configuration=each.get("configuration"),
            signed_by_assessor=each.get("signed_by_assessor", False),
        )

    def certification(self, each: dict[str, Any], path: str) -> Certification:
        issued = self.day(each["issued"], f"{path}.issued")
        expires = self.day_or_none(each, "expires", path)
        if expires is not None and expires < issued:
            raise BadInput(f"{path}.expires", "expires before it was issued")
        for index, model in enumerate(each.get("models", [])):
            self.known(model, self.models, f"{path}.models[{index}]", "crane model")
        return Certification(
            **self.common(each, path, start_of_day(issued, self.zone)),
            worker=self.worker(each, path),
            scheme=each["scheme"],
            number=each["number"],
            issued=issued,
            expires=expires,
            scope=frozenset(each.get("scope", [])),
            models=frozenset(each.get("models", [])),
            classes=frozenset(each.get("classes", [])),
        )

    def certification_status(self, each: dict[str, Any], path: str) -> CertificationStatus:
        effective_at = self.instant(each["effective_at"], f"{path}.effective_at")
        return CertificationStatus(
            **self.common(each, path, effective_at),
            worker=self.worker(each, path),
            certification=each["certification"],
            status=each["status"],
            effective_at=effective_at,
        )

    def instruction(self, each: dict[str, Any], path: str) -> Instruction:
        completed_at = self.instant(each["completed_at"], f"{path}.completed_at")
        model = each.get("model")
        if model is not None:
            self.known(model, self.models, f"{path}.model", "crane model")
        return Instruction(
            **self.common(each, path, completed_at),
            worker=self.worker(each, path),
            topic=each["topic"],
            completed_at=completed_at,
            provider=each.get("provider", "employer"),
            model=model,
            after_stand_down=each.get("after_stand_down"),
        )

    def appointment(self, each: dict[str, Any], path: str) -> Appointment:
        start, end = self.span(each, path)
        kind = each.get("kind", "duty")
        if "model" in each:
            self.known(each["model"], self.models, f"{path}.model", "crane model")
        if kind == "maker_instructor" and "maker" not in each:
            raise BadInput(f"{path}.maker", "a maker's instructor needs the maker")
        if kind != "maker_instructor":
            self.employer(each, path)
        return Appointment(
            **self.common(each, path, start),
            worker=self.worker(each, path),
            duty=each["duty"],
            start=start,
            end=end,
            kind=kind,
            employer=each.get("employer"),
            maker=each.get("maker"),
            document=each.get("document"),
            stop_work_authority=each.get("stop_work_authority", False),
            model=each.get("model"),
        )

    def stand_down(self, each: dict[str, Any], path: str) -> StandDown:
        start = self.instant(each["start"], f"{path}.start")
        if "model" in each:
            self.known(each["model"], self.models, f"{path}.model", "crane model")
        only_at = each.get("only_at")
        if only_at is not None:
            self.known(only_at, self.employers, f"{path}.only_at", "employer")
        return StandDown(
            **self.common(each, path, start),
            worker=self.worker(each, path),
            start=start,
            reason=each["reason"],
            role=each.get("role"),
            model=each.get("model"),
            only_at=only_at,
        )

    def stand_down_suspension(self, each: dict[str, Any], path: str) -> StandDownSuspension:
        start, end = self.span(each, path)
        return StandDownSuspension(
            **self.common(each, path, start),
            worker=self.worker(each, path),
            stand_down=each["stand_down"],
            start=start,
            end=end,
        )

    def language(self, each: dict[str, Any], path: str) -> LanguageSkill:
        # Without a date of its own a language has been spoken all along.
        known_since = datetime.min.replace(tzinfo=UTC)
        return LanguageSkill(
            **self.common(each, path, known_since),
            worker=self.worker(each, path),
            language=each["language"],
        )

    def question(self, each: dict[str, Any], path: str) -> Question:
        start, end = self.span(each, path)
        assert end is not None
        known_at = each.get("known_at")
        return Question(
            worker=self.worker(each, path),
            role=each["role"],
            model=self.known(each["model"], self.models, f"{path}.model", "crane model"),
            operation=each["operation"],
            employer=self.employer(each, path),
            jurisdiction=each["jurisdiction"],
            start=start,
            end=end,
            zone=self.zone,
            configuration=each.get("configuration"),
            working_language=each.get("working_language"),
            known_at=None if known_at is None else self.instant(known_at, f"{path}.known_at"),
        )

    # Parts of a record

    def records(self, kind: str, read: Callable[[dict[str, Any], str], Any]) -> tuple[Any, ...]:
        return tuple(read(each, f"$.{kind}[{index}]") for index, each in enumerate(self.data.get(kind, [])))

    def common(self, each: dict[str, Any], path: str, happened_at: datetime) -> dict[str, Any]:
        """What every record carries; recorded when it happened unless the file says otherwise."""
        if each["id"] in self.ids:
            raise BadInput(f"{path}.id", f"{each['id']!r} is already {self.ids[each['id']]}")
        self.ids[each["id"]] = path
        return {
            "id": each["id"],
            "recorded_at": self.recorded(each, path, happened_at),
            "recorded_by": each.get("recorded_by"),
            "supersedes": each.get("supersedes"),
            "withdrawn": each.get("withdrawn", False),
        }

    def recorded(self, each: dict[str, Any], path: str, happened_at: datetime) -> datetime:
        if "recorded_at" not in each:
            return happened_at
        return self.instant(each["recorded_at"], f"{path}.recorded_at")

    def named(self, kind: str, make: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for index, each in enumerate(self.data.get(kind, [])):
            if each["id"] in found:
                raise BadInput(f"$.{kind}[{index}].id", f"{each['id']!r} is already taken")
            found[each["id"]] = make(each)
        return found

    def known(self, key: str, among: dict[str, Any], path: str, what: str) -> str:
        if key not in among:
            raise BadInput(path, f"unknown {what} {key!r}")
        return key

    def worker(self, each: dict[str, Any], path: str) -> str:
        return self.known(each["worker"], self.people, f"{path}.worker", "person")

    def employer(self, each: dict[str, Any], path: str) -> str:
        if "employer" not in each:
            raise BadInput(f"{path}.employer", "the employer is missing")
        return self.known(each["employer"], self.employers, f"{path}.employer", "employer")

    def span(self, each: dict[str, Any], path: str) -> tuple[datetime, datetime | None]:
        start = self.instant(each["start"], f"{path}.start")
        end = None
        if each.get("end") is not None:
            end = self.instant(each["end"], f"{path}.end")
            if end <= start:
                raise BadInput(f"{path}.end", "is not after start")
        return start, end

    def instant(self, text: str, path: str) -> datetime:
        try:
            found = datetime.fromisoformat(text)
        except ValueError:
            raise BadInput(path, f"{text!r} is not an ISO 8601 instant") from None
        if found.year not in YEARS:
            raise BadInput(path, f"{text!r} is not within the years {YEARS[0]} to {YEARS[-1]}")
        if found.tzinfo is None:
            raise BadInput(path, f"{text!r} has no offset from UTC")
        found = found.astimezone(UTC)
        if found.second or found.microsecond:
            raise BadInput(path, f"{text!r} is not a whole minute")
        return found

    def day(self, text: str, path: str) -> date:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise BadInput(path, f"{text!r} is not a date (YYYY-MM-DD)") from None

    def day_or_none(self, each: dict[str, Any], key: str, path: str) -> date | None:
        return None if each.get(key) is None else self.day(each[key], f"{path}.{key}")

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
        for given in evidence.instruction:
            if given.after_stand_down is not None:
                self.check_reference(given.after_stand_down, "stand_downs", given, "after_stand_down", by_id)

    def check_corrections(self, by_id: dict[str, tuple[str, Record]]) -> None:
        corrected: dict[str, str] = {}
        for key, (kind, record) in by_id.items():
            path = self.ids[key]
            if record.supersedes is None:
                if record.withdrawn:
                    raise BadInput(f"{path}.withdrawn", "a withdrawal must say what it supersedes")
                continue
            self.check_reference(record.supersedes, kind, record, "supersedes", by_id)
            if record.supersedes in corrected:
                raise BadInput(
                    f"{path}.supersedes",
                    f"{record.supersedes!r} is already superseded by {corrected[record.supersedes]!r}",
                )
            if by_id[record.supersedes][1].recorded_at > record.recorded_at:
                raise BadInput(f"{path}.supersedes", "a correction recorded before its original")
            corrected[record.supersedes] = key
        for key in corrected.values():
            seen = {key}
            following: str | None = by_id[key][1].supersedes
            while following is not None:
                if following in seen:
                    raise BadInput(f"{self.ids[key]}.supersedes", "supersedes itself")
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
        path = f"{self.ids[record.id]}.{attribute}"
        if target not in by_id or by_id[target][0] != kind:
            raise BadInput(path, f"{target!r} is not among the {kind.replace('_', ' ')}")
        of_target = getattr(by_id[target][1], "worker", None)
        if of_target != getattr(record, "worker", None):
            raise BadInput(path, f"{target!r} is about another worker")
