"""Which tables are logged, and which of their columns are personal data.

Everything about a person is personal: names, numbers, free text, documents, and
the references to workers and accounts themselves. A column left out is one whose
SHA-256 another column holds, or that is worked out from others.

The order is part of what :mod:`registry.ledger.mirror` stores: add at the end.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class Kind:
    """A logged table: its name, what people call one of its records, and its personal columns."""

    table: str
    title: Promise | str
    personal: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()

    @property
    def about_worker(self) -> str | None:
        """The column that says whose record it is."""
        if self.table == "people_worker":
            return "id"
        return "worker_id" if "worker_id" in self.personal else None


WORKER = ("worker_id", "recorded_by_id")

KINDS: tuple[Kind, ...] = (
    Kind("people_employer", _("employer"), ("responsible_person",)),
    Kind(
        "people_worker",
        _("worker"),
        ("number", "given_name", "family_name", "name_key", "date_of_birth", "recorded_by_id"),
        ("lookalike_keys",),
    ),
    Kind("people_employment", _("employment"), (*WORKER, "consent_id")),
    Kind("people_languageskill", _("language"), WORKER),
    Kind("equipment_maker", _("maker")),
    Kind("equipment_cranemodel", _("crane model")),
    Kind("equipment_familydeclaration", _("model family"), ("recorded_by_id",)),
    Kind("equipment_site", _("site")),
    Kind("equipment_crane", _("crane")),
    Kind("equipment_craneplacement", _("crane's stay"), ("recorded_by_id",)),
    Kind("evidence_document", _("document"), ("name", "recorded_by_id"), ("content",)),
    Kind("evidence_hoursentry", _("hours entry"), (*WORKER, "issuer", "imported_line")),
    Kind("evidence_countersignature", _("countersignature"), ("by_id", "recorded_by_id")),
    Kind("evidence_assessment", _("assessment"), (*WORKER, "assessor_id", "tasks", "signature")),
    Kind("evidence_certification", _("certification"), (*WORKER, "number")),
    Kind("evidence_certificationstatus", _("certification's status"), (*WORKER, "reason")),
    Kind("evidence_standdown", _("stand-down"), (*WORKER, "reason", "shift_id", "on_assignment")),
    Kind("evidence_instruction", _("instruction"), (*WORKER, "provider_name")),
    Kind("evidence_appointment", _("appointment"), (*WORKER, "appointed_by")),
    Kind("standards_standardversion", _("role standard")),
    Kind("standards_employerfigure", _("employer's figure"), ("recorded_by_id",)),
    Kind("crews_job", _("job"), ("description", "recorded_by_id")),
    Kind("crews_slot", _("place on a crew")),
    Kind(
        "crews_decision",
        _("decision"),
        ("statement", "seal", "worker_id", "decided_by_id", "evidence_versions", "holds_until"),
    ),
    Kind("crews_refusal", _("refusal"), ("refused_to_id",)),
    Kind("crews_assignment", _("assignment"), ("worker_id", "assigned_by_id")),
    Kind("crews_assignmentevent", _("change of an assignment"), ("reason", "recorded_by_id")),
    Kind("ledger_signingkey", _("signing key")),
    Kind("ledger_erasure", _("erasure"), ("recorded_by_id",)),
    Kind("inspection_inspectionfile", _("inspection file"), ("purpose", "recorded_by_id")),
    Kind("inspection_look", _("look at records"), WORKER),
    Kind("evidence_assessmentsignature", _("drawn signature"), ("recorded_by_id",)),
    Kind("evidence_countersignaturerequest", _("request to countersign"), ("of_id", "recorded_by_id")),
    Kind("evidence_entryobjection", _("objection"), ("by_id", "reason", "recorded_by_id")),
    Kind("evidence_objectionanswer", _("answer to an objection"), ("reply", "recorded_by_id")),
    Kind(
        "evidence_correctionrequest",
        _("request for a correction"),
        (*WORKER, "what_is_wrong", "what_it_should_be"),
    ),
    Kind("evidence_correctionanswer", _("answer to a request"), ("reason", "recorded_by_id")),
    Kind("transcripts_issuedtranscript", _("transcript given out"), (*WORKER, "code", "sha256")),
    Kind(
        "notices_jobparty",
        _("party to a job"),
        ("name", "contact_person", "phone", "email", "address", "recorded_by_id"),
    ),
    Kind("notices_noticeparticulars", _("particulars of a notice"), ("site_address", "scope", "recorded_by_id")),
    Kind("notices_attachedprocedure", _("work procedure"), ("title", "recorded_by_id")),
    Kind("notices_sentnotice", _("notice sent"), ("content", "sha256", "sent_to", "recorded_by_id")),
    Kind("notices_namedsupervisor", _("supervisor named in a notice"), ("worker_id", "content")),
    Kind("transcripts_sharedlink", _("shared link"), (*WORKER, "token_hash", "note")),
    Kind("transcripts_endedlink", _("end of a shared link"), ("recorded_by_id",)),
    Kind("transcripts_linkopening", _("look through a shared link"), ("recorded_by_id",)),
    Kind("people_closedaccount", _("closing of an account"), ("account_id", "reason", "recorded_by_id")),
    Kind("people_possibletwin", _("possible twin"), ("worker_id", "other_id", "recorded_by_id")),
    Kind("people_accountevent", _("change of an account"), ("account_id", "recorded_by_id")),
    Kind("people_identitycheck", _("check of an identity"), ("account_id", "looked_at", "recorded_by_id")),
    Kind("evidence_deniedsignature", _("denied signature"), ("by_id", "reason", "recorded_by_id")),
    Kind("people_employmentrequest", _("request to take somebody on"), (*WORKER, "number")),
    Kind("people_employmentdecline", _("request to take somebody on, declined"), ("request_id", "recorded_by_id")),
    Kind("people_employmentcode", _("code for an employer"), (*WORKER, "employer_id", "code_hash")),
    Kind(
        "people_employmentconsent",
        _("consent to an employment"),
        (*WORKER, "request_id", "code_id", "code_typed", "reason"),
    ),
    Kind("evidence_standdownsuspension", _("suspension of a stand-down"), (*WORKER, "stand_down_id", "reason")),
    Kind("people_settledtwin", _("possible twin, looked into"), ("twin_id", "reason", "recorded_by_id")),
)

BY_TABLE = {each.table: each for each in KINDS}


def title_of(table: str) -> str:
    """What people call a record of the table; the table's own name where it is no logged one."""
    kind = BY_TABLE.get(table)
    return table if kind is None else str(kind.title)
