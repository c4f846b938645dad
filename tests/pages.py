"""Every page and who opens it. Whatever is checked on all pages is checked on these."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.urls import reverse

from registry.demo import scenario

EMPLOYER = scenario.DISPATCHER.username
INSPECTOR = scenario.INSPECTOR.username
WORKER = scenario.WORKER.username
SIGNER = "signer"
ASSESSOR = "assessor"
REGISTRAR = "registrar"
NOBODY = ""


@dataclass(frozen=True)
class Page:
    """A page: its address's name, who opens it, and which of the scene's numbers the address names."""

    name: str
    by: str
    numbers: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    query: str = ""

    def path(self, numbers: dict[str, object]) -> str:
        """The address in a scene."""
        given = {argument: numbers[which] for argument, which in self.numbers.items()}
        return reverse(self.name, kwargs=given | self.words) + self.query.format(**numbers)

    def __str__(self) -> str:
        return " ".join(filter(None, [self.name, *self.words.values(), self.by]))


JOB = {"job_id": "job"}
NOTICED = {"job_id": "noticed"}
PLACE = {"slot_id": "place"}
ASSIGNMENT = {"assignment_id": "assignment"}
PERSON = {"worker_id": "worker"}
ENTRY = {"record_id": "entry"}

PAGES = [
    Page("sign_in", NOBODY),
    Page("check", NOBODY),
    Page("check", NOBODY, query="?number=TE-20811"),
    *(Page("home", by) for by in (EMPLOYER, INSPECTOR)),
    Page("home", EMPLOYER, query="?week={week}"),
    *(Page("jobs", by) for by in (EMPLOYER, WORKER)),
    Page("home", REGISTRAR),
    Page("own", WORKER),
    Page("own", SIGNER),
    Page("outlook", EMPLOYER),
    *(Page("job", by, JOB) for by in (EMPLOYER, INSPECTOR)),
    Page("plan_job", EMPLOYER),
    Page("change_plan", EMPLOYER, JOB),
    Page("call_off", EMPLOYER, JOB),
    Page("fill_slot", EMPLOYER, PLACE),
    Page("substitute", EMPLOYER, ASSIGNMENT),
    Page("end_assignment", EMPLOYER, ASSIGNMENT),
    *(Page("decision", by, {"decision_id": "decision"}) for by in (EMPLOYER, INSPECTOR, WORKER)),
    *(Page("workers", by) for by in (EMPLOYER, INSPECTOR)),
    *(Page("worker", by, PERSON) for by in (EMPLOYER, INSPECTOR, WORKER)),
    *(Page("transcript", by, PERSON) for by in (EMPLOYER, INSPECTOR, WORKER)),
    Page("founding", INSPECTOR),
    *(Page("wanted_role", by, PERSON) for by in (EMPLOYER, WORKER)),
    Page(
        "wanted_role",
        WORKER,
        PERSON,
        query="?role=erector&operation=dismantling&model={model}&day={day}&standard={standard}",
    ),
    Page("sharing", WORKER),
    Page("own_employers", WORKER),
    *(Page(name, REGISTRAR) for name in ("registrar_employment", "registrar_stand_downs")),
    Page("suspend_stand_down", REGISTRAR, {"stand_down_id": "bar"}),
    Page("settle_twin", REGISTRAR, {"twin_id": "twin"}),
    Page("leave_employer", WORKER, {"employment_id": "employment"}),
    *(Page("shared_record", by, {"token": "token"}) for by in (NOBODY, EMPLOYER)),
    # Notice
    *(Page("notice", by, NOTICED) for by in (EMPLOYER, INSPECTOR)),
    Page("notice", EMPLOYER, JOB),
    Page("notice_particulars", EMPLOYER, NOTICED),
    Page("add_party", EMPLOYER, NOTICED),
    Page("change_party", EMPLOYER, NOTICED | {"party_id": "party"}),
    Page("add_procedure", EMPLOYER, NOTICED),
    Page("change_procedure", EMPLOYER, NOTICED | {"procedure_id": "procedure"}),
    Page("record_notice_sent", EMPLOYER, NOTICED),
    # Records
    Page("records", EMPLOYER),
    Page("hours_sheet", EMPLOYER),
    Page("hours_sheet", EMPLOYER, query="?job={job}"),
    Page("countersigning", EMPLOYER),
    Page("answer_objection", EMPLOYER, {"objection_id": "objection"}),
    Page("to_countersign", SIGNER),
    Page("assessments", ASSESSOR),
    Page("assess", ASSESSOR, PERSON),
    Page("new_person", EMPLOYER),
    *(Page("person_records", by, PERSON) for by in (EMPLOYER, INSPECTOR, WORKER)),
    *(
        Page("add_record", EMPLOYER, PERSON, {"what": what})
        for what in (
            "certificate",
            "instruction",
            "appointment",
            "third-party-assessment",
            "stand-down",
            "employment",
            "language",
        )
    ),
    Page("add_record", EMPLOYER, {"worker_id": "leader"}, {"what": "certificate-status"}),
    Page("correct_record", EMPLOYER, ENTRY, {"kind": "hoursentry"}),
    Page("withdraw_record", EMPLOYER, ENTRY, {"kind": "hoursentry"}),
    Page("ask_for_correction", WORKER, ENTRY, {"kind": "hoursentry"}),
    Page("correction_requests", EMPLOYER),
    Page("answer_request", EMPLOYER, {"request_id": "request"}),
    Page("import_upload", EMPLOYER),
    Page("import_table", EMPLOYER, {"document_id": "table"}, {"kind": "hours"}),
    # Equipment
    *(
        Page(name, by)
        for name in ("equipment", "equipment_sites", "equipment_models")
        for by in (EMPLOYER, INSPECTOR, REGISTRAR)
    ),
    Page("equipment", EMPLOYER, query="?q=210"),
    *(Page(name, REGISTRAR) for name in ("new_employer", "new_maker", "new_model")),
    Page("new_family", REGISTRAR, {"maker_id": "maker"}),
    *(Page(name, by) for name in ("new_site", "new_crane") for by in (EMPLOYER, REGISTRAR)),
    *(Page("place_crane", by, {"crane_id": "crane"}) for by in (EMPLOYER, REGISTRAR)),
    # What keeps people off the crews
    Page("bars", REGISTRAR),
    Page("bars", REGISTRAR, query="?q=lindqvar"),
    Page("bar_requests", REGISTRAR),
    Page("bar_papers", REGISTRAR),
    *(Page("bars_of", REGISTRAR, {"worker_id": which}) for which in ("worker", "leader")),
    Page("add_record", REGISTRAR, {"worker_id": "leader"}, {"what": "certificate-status"}),
    Page("add_record", REGISTRAR, {"worker_id": "leader"}, {"what": "third-party-assessment"}),
    Page("correct_placement", REGISTRAR, {"placement_id": "placement"}),
    # Inspection and the log
    Page("inspection", INSPECTOR),
    Page("inspection", INSPECTOR, query="?q=lindqvar"),
    Page("second_look", INSPECTOR),
    *(Page("possible_twins", by) for by in (INSPECTOR, REGISTRAR)),
    Page("second_look_at", INSPECTOR, PERSON),
    Page("crane", INSPECTOR, {"crane_id": "crane"}),
    *(Page("job_as_known", by, JOB) for by in (EMPLOYER, INSPECTOR)),
    *(Page("slot_as_known", by, {"slot_id": "led"}, query="?worker={leader}") for by in (EMPLOYER, INSPECTOR)),
    Page("open_file", INSPECTOR, JOB),
    Page("file", INSPECTOR, {"file_id": "file"}),
    *(Page("log", by) for by in (EMPLOYER, INSPECTOR, WORKER)),
    Page("log_verification", INSPECTOR),
    Page("log_record", WORKER, {"record": "entry"}, {"kind": "evidence_hoursentry"}),
    # The account
    Page("account", WORKER),
    Page("account_change_password", WORKER),
    Page("mfa_list_webauthn", EMPLOYER),
    Page("usersessions_list", EMPLOYER),
    *(Page("invite", by) for by in (EMPLOYER, INSPECTOR, REGISTRAR)),
    Page("type_code", NOBODY),
    *(Page("in_your_name", by) for by in (WORKER, SIGNER, EMPLOYER)),
    Page("deny_signature", SIGNER, {"record_id": "signature"}, {"kind": "countersignature"}),
    *(Page("identities", by) for by in (INSPECTOR, REGISTRAR)),
    Page("check_identity", REGISTRAR, {"account_id": "unchecked"}),
    Page("dispatchers", EMPLOYER),
    Page("close_account", EMPLOYER, {"account_id": "colleague"}),
    # Last, since every page above is a look.
    *(Page("looks", by) for by in (EMPLOYER, INSPECTOR, WORKER)),
]

NO_PAGES = {
    "answer_employer": "a POST",
    "end_suspension": "a POST",
    "bundle": "a file",
    "check_code": "the page of check, with the code in its address",
    "checkpoint_text": "a file",
    "consistency_json": "a file",
    "crew_sheet": "a file",
    "decide_again": "a POST",
    "decide_held_again": "a POST",
    "decide_crew_again": "a POST",
    "document": "a file",
    "end_shared_link": "a POST",
    "notice_json": "a file",
    "notice_not_sent": "a POST",
    "notice_pdf": "a file",
    "procedure_file": "a file",
    "sent_notice_json": "a file",
    "sent_notice_pdf": "a file",
    "remove_party": "a POST",
    "remove_procedure": "a POST",
    "shared_transcript": "a file",
    "make_checkpoint": "a POST",
    "own_data": "a POST",
    "refusal_notice": "a file",
    "set_language": "a POST",
    "sign_out": "a POST",
    "account_logout": "another name of sign_out",
    "account_login": "another name of sign_in",
    "mfa_index": "another name of account",
    "verifier": "a file",
}
"""Addresses that answer with no page of their own."""

STEPS = {
    "accept_invitation",
    "change_address",
    "follow_invitation",
    "account_inactive",
    "account_reauthenticate",
    "account_reset_password",
    "account_reset_password_done",
    "account_reset_password_from_key",
    "account_reset_password_from_key_done",
    "account_set_password",
    "mfa_activate_totp",
    "mfa_add_webauthn",
    "mfa_authenticate",
    "mfa_deactivate_totp",
    "mfa_download_recovery_codes",
    "mfa_edit_webauthn",
    "mfa_generate_recovery_codes",
    "mfa_login_webauthn",
    "mfa_reauthenticate",
    "mfa_reauthenticate_webauthn",
    "mfa_remove_webauthn",
    "mfa_view_recovery_codes",
}
"""Steps of signing in, which open only in their order: ``tests/browser/test_sign_in.py`` goes through them."""
