"""The fields of a case file, each said once: what reads it, and what its JSON schema is made of.

Reading by these structures is strict and fast. What they refuse is refused in
the words of the schema (:func:`registry.engine.files.checks.check_schema`).
``Meta.extra`` holds what only the schema says; lists that are ``DISTINCT``
repeat nothing, which the reader looks after.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal, TypeAlias

from msgspec import UNSET, Meta, Struct, UnsetType, field

from registry.engine.evidence import Operation, Origin, Role

DISTINCT = {"uniqueItems": True}

Text: TypeAlias = Annotated[str, Meta(min_length=1)]
Id: TypeAlias = Annotated[str, Meta(min_length=1, max_length=100, extra={"ref": "id"})]
Instant: TypeAlias = Annotated[str, Meta(min_length=16, max_length=40, extra={"ref": "instant"})]
Day: TypeAlias = Annotated[str, Meta(pattern=r"\A[0-9]{4}-[0-9]{2}-[0-9]{2}\Z", extra={"format": "date"})]
Operations: TypeAlias = Annotated[list[Operation], Meta(min_length=1, extra=DISTINCT)]
Ids: TypeAlias = Annotated[list[Id], Meta(extra=DISTINCT)]
Texts: TypeAlias = Annotated[list[Text], Meta(extra=DISTINCT)]


class InFile(Struct, forbid_unknown_fields=True, kw_only=True):
    """An object of a case file, which has the fields of its class and no others."""


class PersonInFile(InFile, kw_only=True):
    id: Id
    name: Text


class EmployerInFile(InFile, kw_only=True):
    id: Id
    name: Text


class ModelInFile(InFile, kw_only=True):
    id: Id
    maker: Text
    designation: Text
    crane_class: Text = field(name="class")


class RecordInFile(InFile, kw_only=True):
    """What every record may say of itself; recorded when it happened unless the file says otherwise."""

    id: Id
    recorded_at: Instant | UnsetType = UNSET
    recorded_by: Id | UnsetType = UNSET
    supersedes: Id | UnsetType = UNSET
    withdrawn: bool = False


class FamilyInFile(RecordInFile, kw_only=True):
    maker: Text
    models: Annotated[list[Id], Meta(min_length=2, extra=DISTINCT)]
    document: Text
    valid_from: Day
    valid_until: Day | None = None


class PlacementInFile(RecordInFile, kw_only=True):
    crane: Text
    model: Id
    site: Text
    start: Instant
    end: Instant | None = None


class CountersignatureInFile(InFile, kw_only=True):
    by: Id
    at: Instant
    recorded_at: Instant | UnsetType = UNSET


class HoursInFile(RecordInFile, kw_only=True):
    worker: Id
    model: Id
    operation: Operation
    start: Instant
    end: Instant
    employer: Id
    capacity: Role = "erector"
    configuration: Text | UnsetType = UNSET
    time_zone: Text | UnsetType = UNSET
    crane: Text | UnsetType = UNSET
    site: Text | UnsetType = UNSET
    origin: Origin = "register"
    document: Text | UnsetType = UNSET
    issuer: Text | UnsetType = UNSET
    countersignatures: list[CountersignatureInFile] = []


class AssessmentInFile(RecordInFile, kw_only=True):
    worker: Id
    role: Role
    model: Id
    operations: Operations
    assessed_at: Instant
    outcome: Literal["pass", "not_yet_competent"]
    assessor: Id
    on_behalf_of: Annotated[Text, Meta(extra={"description": "'third_party' or an employer's id."})]
    kind: Literal["practical", "written"] = "practical"
    configuration: Text | UnsetType = UNSET
    signed_by_assessor: bool = False


class CertificationInFile(RecordInFile, kw_only=True):
    worker: Id
    scheme: Text
    number: Text
    issued: Day
    expires: Day | None = None
    scope: Texts = []
    models: Ids = []
    classes: Texts = []


class StatusInFile(RecordInFile, kw_only=True):
    worker: Id
    certification: Id
    status: Literal["suspended", "revoked", "reinstated"]
    effective_at: Instant


class InstructionInFile(RecordInFile, kw_only=True):
    worker: Id
    topic: Text
    completed_at: Instant
    provider: Literal["maker", "employer", "third_party"] = "employer"
    model: Id | UnsetType = UNSET
    after_stand_down: Id | UnsetType = UNSET


class AppointmentInFile(RecordInFile, kw_only=True):
    worker: Id
    duty: Text
    start: Instant
    end: Instant | None = None
    kind: Literal["duty", "founding", "maker_instructor"] = "duty"
    employer: Id | UnsetType = UNSET
    maker: Text | UnsetType = UNSET
    document: Text | UnsetType = UNSET
    stop_work_authority: bool = False
    model: Id | UnsetType = UNSET


class StandDownInFile(RecordInFile, kw_only=True):
    worker: Id
    start: Instant
    reason: Text
    role: Role | UnsetType = UNSET
    model: Id | UnsetType = UNSET
    only_at: Id | UnsetType = UNSET


class SuspensionInFile(RecordInFile, kw_only=True):
    worker: Id
    stand_down: Id
    start: Instant
    end: Instant | None = None


class LanguageInFile(RecordInFile, kw_only=True):
    worker: Id
    language: Text


class QuestionInFile(InFile, kw_only=True):
    worker: Id
    role: Role
    model: Id
    operation: Operation
    employer: Id
    jurisdiction: Text
    start: Instant
    end: Instant
    time_zone: Text
    configuration: Text | UnsetType = UNSET
    working_language: Text | UnsetType = UNSET
    known_at: Instant | UnsetType = UNSET


class ExpectedInFile(InFile, kw_only=True):
    outcome: Literal["permitted", "refused"] | UnsetType = UNSET
    holds_until: Instant | UnsetType | None = UNSET
    fails_from: Instant | UnsetType | None = UNSET
    shortfall_minutes: dict[str, int] | UnsetType = UNSET
    not_met: Texts = []
    reasons: Texts = []
    remedy: list[Text] = []


class CaseInFile(InFile, kw_only=True):
    """A case file. Its standard is judged by the schema of role standards."""

    schema: str | UnsetType = field(default=UNSET, name="$schema")
    title: Text
    clause: Annotated[
        str | UnsetType, Meta(extra={"description": "The published clause or the trap this case works through."})
    ] = UNSET
    note: str | UnsetType = UNSET
    people: list[PersonInFile]
    employers: list[EmployerInFile]
    models: list[ModelInFile]
    families: list[FamilyInFile] = []
    placements: list[PlacementInFile] = []
    hours: list[HoursInFile] = []
    assessments: list[AssessmentInFile] = []
    certifications: list[CertificationInFile] = []
    certification_statuses: list[StatusInFile] = []
    instruction: list[InstructionInFile] = []
    appointments: list[AppointmentInFile] = []
    stand_downs: list[StandDownInFile] = []
    stand_down_suspensions: list[SuspensionInFile] = []
    languages: list[LanguageInFile] = []
    standard: Annotated[
        dict[str, Any],
        Meta(
            extra={
                "schema": {
                    "if": {"type": "object", "required": ["shipped"]},
                    "then": {"$ref": "#/$defs/shipped"},
                    "else": {"$ref": "standard.schema.json"},
                }
            }
        ),
    ]
    figures: Annotated[
        dict[str, Annotated[int, Meta(ge=1)]],
        Meta(extra={"description": "The employer's own minutes for the standard's settings."}),
    ] = {}
    question: QuestionInFile
    expected: Annotated[
        ExpectedInFile | UnsetType,
        Meta(extra={"description": "What a worked case says the answer is; the tests hold the engine to it."}),
    ] = UNSET


CASE_DEFS: dict[str, Any] = {
    "id": {"type": "string", "minLength": 1, "maxLength": 100},
    "instant": {"type": "string", "minLength": 16, "maxLength": 40},
    "shipped": {
        "description": "A standard of fixtures/standards, by its key and either its version or a day on which it "
        "is in force.",
        "type": "object",
        "additionalProperties": False,
        "required": ["shipped"],
        "properties": {
            "shipped": {"type": "string", "minLength": 1},
            "version": {"type": "integer", "minimum": 1},
            "in_force_on": {"type": "string", "format": "date"},
        },
        "oneOf": [{"required": ["version"]}, {"required": ["in_force_on"]}],
    },
}
"""What the schema of case files refers to."""
