"""What the database refuses, in words people read: one sentence for each constraint."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db import DatabaseError
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from registry.language.plain_text import code_point
from registry.language.words import in_words

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong: the field, the rule by name, and a sentence in the language in force when it was found."""

    field: str
    rule: str
    message: str


class RecordRefused(Exception):
    """A record breaks rules; ``problems`` says which."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__(" ".join(each.message for each in problems))
        self.problems = list(problems)


YEARS = _("Give a year from 1900 to 2199.")

SENTENCES: dict[str, tuple[str, StrOrPromise]] = {
    # Time and amount of work
    "hours_end_is_after_start": ("end", _("The work must end after it starts.")),
    "hours_fit_into_24_hours": ("end", _("One entry cannot be longer than 24 hours.")),
    "hours_are_not_in_the_future": ("end", _("Hours cannot be recorded before they are worked.")),
    "hours_are_in_whole_minutes": ("start", _("Work is recorded in whole minutes.")),
    "hours_operation_is_known": ("operation", _("The operation is not one the registry knows.")),
    "hours_capacity_is_a_role": ("capacity", _("The capacity is not a role the registry knows.")),
    "hours_origin_is_known": ("origin", _("The origin is not one the registry knows.")),
    "hours_from_paper_have_a_scan": ("document", _("Hours transcribed from paper need the scan attached.")),
    "hours_of_another_register_need_its_signature": (
        "origin",
        _("Hours of another register cannot be taken over yet: its signature is not verified here."),
    ),
    # Signatures
    "nobody_countersigns_an_entry_twice": ("by", _("This person has already countersigned the entry.")),
    "nobody_countersigns_their_own_hours": ("by", _("Nobody countersigns their own hours.")),
    "countersignature_follows_the_work": ("at", _("Work can be countersigned only once it is done.")),
    "signer_signs_with_their_own_account": ("", _("Everybody signs for themself, with their own account.")),
    "a_signer_has_a_second_factor": (
        "",
        _("A password alone signs nothing. Set up a second factor for your account, then sign."),
    ),
    "a_closed_account_signs_nothing": ("", _("The account is closed, and signs nothing.")),
    "a_signature_without_an_account_has_its_paper": (
        "by",
        _("A signature that nobody gave with their own account is recorded from its paper, with the scan."),
    ),
    "a_denied_signature_is_of_a_known_kind": ("", _("This is not a signature that can be denied.")),
    "a_denied_signature_gives_its_reason": ("reason", _("Say what is wrong with this signature.")),
    "a_signature_is_denied_once": ("", _("You have said already that this signature is not yours.")),
    "a_denied_signature_is_in_the_persons_name": ("", _("This was not signed in your name.")),
    "countersignature_is_not_in_the_future": ("at", _("A countersignature cannot be dated in the future.")),
    "an_employer_records_about_its_own_people": (
        "worker",
        _("This person is not on your books now, nor was on the day that this is about."),
    ),
    # What keeps somebody off the crews
    "only_the_registrar_takes_back_a_bar": (
        "",
        _(
            "A stand-down is lifted by retraining and re-assessment, a suspension by reinstatement."
            " If it should never have been recorded, the registrar takes it back."
        ),
    ),
    "only_the_registrar_corrects_retraining": (
        "after_stand_down",
        _("Retraining after a stand-down is corrected or taken back by the registrar. Ask for it, and say why."),
    ),
    "retraining_has_its_paper": (
        "document",
        _("Retraining after a stand-down needs its paper: attach what the person who taught it signed."),
    ),
    "retraining_follows_its_stand_down": (
        "completed_at",
        _("The retraining was completed before the stand-down began."),
    ),
    "only_the_registrar_reinstates": (
        "status",
        _(
            "The registrar records that a certificate is reinstated."
            " Send the registrar a request, and say where the issuer's paper can be seen."
        ),
    ),
    "a_reinstatement_gives_its_reason": ("reason", _("Say what the reinstatement rests on.")),
    "only_the_registrar_corrects_a_third_partys_setback": (
        "",
        _(
            "A third party found this person not yet competent. The registrar corrects or takes back that record;"
            " a later pass by the same third party ends it."
        ),
    ),
    "a_setback_is_changed_by_its_assessor": (
        "",
        _("Only the assessor who found somebody not yet competent, and who is still appointed, corrects that record."),
    ),
    "a_setback_is_not_turned_into_a_pass": (
        "outcome",
        _("A correction does not turn 'not yet competent' into a pass, or into somebody else's. Assess again."),
    ),
    "a_pass_after_a_setback_comes_from_its_source": (
        "outcome",
        _(
            "The person was found not yet competent for this before. A pass after that comes from the same third"
            " party, with its own paper, or where an employer's assessor found it, from an assessor's own account."
            " The registrar records any other."
        ),
    ),
    "a_pass_after_a_bar_is_a_new_assessment": (
        "assessed_at",
        _("A correction does not move an older pass behind a setback or a stand-down. Assess again."),
    ),
    "an_ended_appointment_stays_ended": (
        "end",
        _("This appointment has ended, and a correction does not prolong it. Record a new appointment."),
    ),
    "the_end_of_a_bar_gives_its_reason": ("because", _("Say why this no longer keeps the person off the crews.")),
    "the_registrar_answers_for_a_bar": ("", _("The registrar answers this request.")),
    "a_certificate_after_a_bar_has_its_paper": (
        "document",
        _("A certificate issued after a suspension or revocation needs its paper attached."),
    ),
    "a_certificate_taken_out_is_not_recorded_anew": (
        "number",
        _("A certificate of this number is suspended or revoked; one issued after that can be recorded."),
    ),
    # Assessments
    "assessor_records_with_their_own_account": (
        "",
        _("Assessors record their own assessments, with their own account."),
    ),
    "nobody_assesses_themself": ("assessor", _("Nobody assesses themself.")),
    "assessment_is_not_in_the_future": ("assessed_at", _("An assessment cannot be dated in the future.")),
    "assessment_outcome_is_known": ("outcome", _("The outcome is pass or not yet competent.")),
    "assessment_role_is_known": ("role", _("The role is not one the registry knows.")),
    "assessment_operations_are_known": ("operations", _("Name one or more known operations.")),
    "assessment_is_third_partys_or_employers": (
        "third_party",
        _("An assessment is given either for a third party or for an employer."),
    ),
    # Certificates
    "certificate_does_not_expire_before_it_was_issued": (
        "expires",
        _("The certificate would expire before it was issued."),
    ),
    "certificate_is_recorded_once": ("number", _("This certificate is recorded already.")),
    "certification_status_is_known": ("status", _("The status is suspended, revoked or reinstated.")),
    # Instruction, appointments, stand-downs
    "instruction_provider_is_known": ("provider", _("The provider is the maker, the employer or a third party.")),
    "instruction_is_not_in_the_future": ("completed_at", _("Instruction cannot be completed in the future.")),
    "appointment_end_is_after_start": ("end", _("The appointment must end after it starts.")),
    "appointment_says_who_appoints": ("employer", _("The appointment must say who appoints.")),
    "founding_appointment_has_an_outside_document": (
        "document",
        _("A founding or maker's appointment needs the outside document attached."),
    ),
    "founding_appointment_names_the_responsible_person": (
        "appointed_by",
        _("A founding appointment names the employer's responsible person."),
    ),
    "stand_down_role_is_known": ("role", _("The role is not one the registry knows.")),
    "stand_down_gives_its_reason": ("reason", _("A stand-down gives its reason.")),
    "stand_down_has_one_occasion": ("occasion", _("A stand-down has one occasion: a shift or a job.")),
    "a_stand_down_is_an_employers_or_the_registrars": (
        "",
        _("A stand-down is recorded by an employer about its own people, or by the registrar."),
    ),
    "without_an_occasion_it_bars_at_its_firm_alone": (
        "occasion",
        _("Without an occasion a stand-down bars at your firm alone."),
    ),
    "the_occasion_is_the_firms_own": (
        "occasion",
        _(
            "The occasion is a shift or a job of your firm that this person was on, begun before the stand-down starts"
            " and over for at most 90 days."
        ),
    ),
    "only_the_registrar_suspends_a_stand_down": ("", _("Only the registrar suspends a stand-down.")),
    "suspension_end_is_after_start": ("end", _("The suspension must end after it starts.")),
    "suspension_gives_its_reason": ("reason", _("Say why the stand-down is suspended.")),
    "reference_is_to_the_same_worker": ("worker", _("This belongs to another worker.")),
    # Countersigning and correcting
    "a_countersignature_is_asked_for_once": ("of", _("This person has been asked to countersign the entry already.")),
    "objection_gives_its_reason": ("reason", _("Say why you do not sign.")),
    "objection_answer_says_something": ("reply", _("Say what you found.")),
    "nobody_is_asked_about_their_own_hours": ("of", _("Nobody countersigns their own hours.")),
    "correction_request_says_what_is_wrong": ("what_is_wrong", _("Say what is wrong.")),
    "correction_request_is_about_a_known_kind": ("", _("This is no record that can be corrected.")),
    "correction_request_is_about_the_workers_record": ("", _("This is not a record of that person.")),
    "correction_answer_names_the_new_record": ("outcome", _("A correction names the record that it made.")),
    "an_answer_corrects_the_record_asked_about": (
        "",
        _("The request is about another record. Correct the record that it is about, or decline the request."),
    ),
    "correction_answer_is_about_the_same_worker": ("outcome", _("The new record does not answer the request.")),
    "evidence_correctionanswer_request_id_key": ("", _("This request has been answered already.")),
    "evidence_objectionanswer_objection_id_key": ("", _("This question has been answered already.")),
    "declined_correction_gives_its_reason": ("reason", _("Say why nothing is changed.")),
    # Documents
    "document_matches_its_sha256": ("content", _("The file differs from its SHA-256.")),
    "document_size_is_that_of_its_content": ("size", _("The size is not that of the file.")),
    # Corrections
    "correction_keeps_its_subject": ("", _("A correction is about the same worker, crane or maker.")),
    "withdrawn_record_stays_withdrawn": ("supersedes", _("A withdrawn record stays withdrawn; record it anew.")),
    "an_imported_line_is_recorded_once": ("imported_line", _("This line has been imported already.")),
    "crane_is_of_the_model": ("crane", _("The crane is of another model.")),
    "site_time_zone_is_known": ("time_zone", _("There is no such time zone.")),
    "records_are_never_changed": ("", _("Records are never changed or removed; record a correction instead.")),
    "recorded_at_is_the_present": ("recorded_at", _("The register records the present moment, not another.")),
    # People and equipment
    "account_kind_fits_what_it_is_for": ("kind", _("The account does not fit its kind.")),
    "people_account_username_key": ("username", _("This user name is taken.")),
    "a_worker_has_one_open_account": ("worker", _("This worker has an account already.")),
    "closing_an_account_gives_its_reason": ("reason", _("Say why the account is closed.")),
    "an_account_is_closed_once": ("", _("This account is closed already.")),
    "a_closed_account_stays_closed": ("", _("A closed account stays closed; invite the person anew.")),
    "closing_an_account_is_recorded": ("", _("An account is closed with a record of who closed it and why.")),
    "dispatchers_close_accounts_of_their_own_employer": (
        "",
        _("A dispatcher closes accounts of other dispatchers of the same employer, and no others."),
    ),
    "nobody_closes_their_own_account": (
        "",
        _(
            "Nobody closes their own account: another dispatcher of your employer does, or the registrar where there "
            "is none."
        ),
    ),
    "a_closed_account_invites_nobody": ("", _("Your account is closed, and invites nobody.")),
    "an_invitation_ends_with_a_closed_account": (
        "",
        _("An account was closed after this invitation was sent, which ended it; ask for a new one."),
    ),
    "an_invitation_ends_with_the_next_one": (
        "",
        _("The person was invited again after this invitation, which ended it; use the later one."),
    ),
    "an_invitation_says_which_way_it_goes": (
        "address",
        _("An invitation goes by mail to an address, on paper, or is printed at the command line."),
    ),
    "workers_invite_nobody": ("", _("Dispatchers, inspectors and the registrar invite; an inspector only workers.")),
    "an_employers_invitation_goes_by_mail": ("address", _("Give the person's own e-mail address.")),
    "an_inspector_hands_the_code_over": ("address", _("An inspector hands the code over in person.")),
    "dispatchers_invite_their_own": ("worker", _("Nobody of this number is on your books today.")),
    "the_registrar_lets_in_again": (
        "worker",
        _("This worker has had an account before. The registrar alone invites them again."),
    ),
    "an_invitation_goes_to_the_persons_own_address": (
        "address",
        _("No invitation can go to this address. Give one that is the person's own and that nobody else uses here."),
    ),
    "an_identity_check_says_what_was_looked_at": ("looked_at", _("Say what you looked at.")),
    "an_identity_is_checked_from_outside": (
        "",
        _("The registrar or an inspector confirms who somebody is, for accounts other than their own."),
    ),
    "account_event_is_of_a_known_kind": ("", _("The registry knows no such change of an account.")),
    "invitation_kind_fits_what_it_is_for": ("kind", _("The invitation does not fit its kind.")),
    "only_the_registrar_invites_inspectors": ("kind", _("Only the registrar invites inspectors and registrars.")),
    "invitation_lasts_at_most_30_days": ("", _("An invitation lasts 30 days at most.")),
    "an_account_keeps_its_kind": (
        "kind",
        _("An account stays what it was opened as; close it and invite the person again."),
    ),
    "inspectors_and_registrars_are_invited": ("kind", _("An inspector or registrar is invited first.")),
    "a_person_leaves_from_now_on": (
        "last_day",
        _("Your last day is today or later, and no later than the one on record. For another, ask for a correction."),
    ),
    "an_employer_corrects_its_own_records": ("", _("Another employer answers for this record.")),
    "a_pass_after_a_setback_has_its_paper": (
        "document",
        _("A pass that ends a 'not yet competent' needs its paper: attach what the assessor signed."),
    ),
    "an_act_names_an_account_that_may_do_it": (
        "",
        _("Nobody who may do this is named. It takes an open account of the right kind; at the machine, use --as."),
    ),
    "an_act_of_the_registrar_names_the_registrar": (
        "",
        _("Only a registrar does this. Name yours with --as; the account must be open."),
    ),
    "an_invitation_is_accepted_once": ("", _("This invitation has been used; sign in instead.")),
    "an_invitation_is_accepted_in_time": ("", _("This invitation has run out; ask for a new one.")),
    "an_invitation_opens_the_account_it_is_for": ("kind", _("The account is not the one the invitation is for.")),
    "employment_does_not_end_before_it_starts": ("end", _("Employment cannot end before it starts.")),
    "a_registered_person_is_taken_on_with_consent": (
        "start",
        _(
            "This person is registered, and comes onto your books with their own consent: ask them on the page of"
            " new people, or type the code they give you. Whoever left and comes back is asked again. The registrar"
            " can record it too."
        ),
    ),
    "consent_is_the_persons_own": ("", _("Consent is given by the person, with their own account or code.")),
    "a_request_is_answered_once": ("", _("This request has been answered already.")),
    "people_employmentconsent_request_id_key": ("", _("This request has been answered already.")),
    "people_employmentdecline_request_id_key": ("", _("This request has been answered already.")),
    "people_employmentconsent_code_id_key": ("code", _("This code cannot be used. Ask the person for another.")),
    "consent_says_how_it_was_given": ("reason", _("Say what you were shown.")),
    "an_employer_asks_for_itself": ("", _("An employer asks for itself alone.")),
    "employment_request_is_for_a_year_people_enter": ("start", YEARS),
    "employment_code_lasts_at_most_7_days": ("", _("A code lasts at most 7 days.")),
    "language_is_a_bcp_47_tag": ("language", _("Give the language as a tag such as en or fr.")),
    "model_designation_is_unique_for_its_maker": ("designation", _("The maker already has a model of this name.")),
    "family_does_not_end_before_it_starts": ("valid_until", _("The declaration would end before it starts.")),
    "family_names_the_makers_document": ("document", _("A family needs the maker's own document.")),
    "family_holds_models_of_its_own_maker": ("models", _("A family holds two or more models of its own maker.")),
    "serial_number_is_unique_for_its_model": ("serial_number", _("A crane with this serial number is known already.")),
    "placement_end_is_after_start": ("end", _("The crane must leave after it came.")),
    "crane_stands_on_one_site_at_a_time": ("crane", _("The crane stands on another site at that time.")),
    # Jobs and crews
    "job_end_is_after_start": ("end", _("The job must end after it starts.")),
    "job_operation_is_known": ("operation", _("The operation is not one the registry knows.")),
    "job_minutes_per_day_fit_a_day": ("minutes_per_day", _("A day has between 1 and 1440 minutes.")),
    "job_standard_is_for_the_sites_jurisdiction": (
        "standard_key",
        _("The role standard is not one for the site's jurisdiction."),
    ),
    "slot_role_is_known": ("role", _("The role is not one the registry knows.")),
    "slot_position_is_unique_for_job_and_role": ("position", _("This place on the crew is there already.")),
    "assignment_end_is_after_start": ("end", _("The assignment must end after it starts.")),
    "assignment_lies_within_the_job": ("end", _("The assignment must lie within the job's window.")),
    "assignment_needs_a_permitted_decision": ("decision", _("Only a permitted decision puts a person into a slot.")),
    "decision_carries_the_engines_seal": ("decision", _("Only the engine gives decisions.")),
    "a_decision_is_recorded_once": ("decision", _("This decision is recorded already, and serves once.")),
    "a_decision_serves_whoever_asked_for_it": ("decision", _("Another account asked for this decision.")),
    "a_decision_serves_while_it_is_fresh": ("decision", _("The decision is more than ten minutes old; ask again.")),
    "a_crew_is_its_employers_to_change": ("", _("Only an open account of the job's employer changes its crew.")),
    "a_job_is_its_employers_to_plan": ("", _("Only an open account of the employer plans and changes its jobs.")),
    "decision_answers_this_question": (
        "decision",
        _("The decision is not about this person, role, model, operation, employer and window."),
    ),
    "decision_rests_on_current_evidence": ("decision", _("The evidence has changed since the decision.")),
    "decision_uses_the_standard_in_force": ("decision", _("Another version of the standard is in force.")),
    "assignment_sees_concurrent_changes": ("", _("This must run in a read-committed transaction.")),
    "job_is_current": ("job", _("The job has been changed or withdrawn; use the current plan.")),
    "worker_is_employed_by_the_jobs_employer": (
        "worker",
        _("This person is not on the employer's books for all of that time."),
    ),
    "trainee_is_paired_with_an_erector": (
        "paired_with",
        _("A trainee must be paired with an erector who is on this crew the whole time."),
    ),
    "only_a_trainee_is_paired": ("paired_with", _("Only a trainee is paired with an erector.")),
    "one_person_in_a_slot_at_a_time": ("slot", _("Somebody else is in this slot then.")),
    "nobody_is_on_two_overlapping_jobs": ("worker", _("This person is on another job at that time.")),
    "nobody_fills_two_places_of_one_role": (
        "worker",
        _("This person is in another place of the same role on this crew then."),
    ),
    "the_supervisor_fills_no_other_role": ("worker", _("The erection supervisor fills no other role on the job.")),
    "an_ended_assignment_stays_ended": ("assignment", _("The assignment has already ended.")),
    "nobody_leaves_before_they_were_put_in": ("ends_at", _("Nobody leaves a place before they were put into it.")),
    "nobody_leaves_after_their_time": ("ends_at", _("By then this person's time in the place is over.")),
    "a_job_is_planned_once": ("start", _("This job is planned already. Change that plan instead.")),
    "a_confirmation_needs_a_decision": ("decision", _("A confirmation needs a decision.")),
    # Shared links
    "shared_link_lasts_at_most_30_days": ("days", _("A link lasts from 1 to 30 days.")),
    "a_link_is_made_and_ended_by_its_worker": ("", _("Only the worker shares their own record, and ends its links.")),
    "a_link_ends_after_it_was_made": ("", _("A link ends after it was made.")),
    "transcripts_endedlink_link_id_key": ("", _("This link has been ended already.")),
    "only_an_open_link_is_looked_through": ("", _("This link is no longer open.")),
    # Erasure
    "an_erasure_states_its_ground": ("ground", _("State the ground of the erasure.")),
    "nothing_is_recorded_about_an_erased_worker": ("worker", _("This person's data have been erased.")),
    # Inspection
    "inspection_reference_is_used_once": ("reference", _("There is a file under this reference already.")),
    "inspection_file_says_why": ("purpose", _("Give a reference and say why the file is opened.")),
    # Notices
    "party_role_is_known": ("role", _("The part in the job is not one the registry knows.")),
    "party_has_a_name": ("name", _("Give the party's name.")),
    "party_can_be_reached": ("phone", _("Give a telephone number or an e-mail address.")),
    "procedure_has_a_title": ("title", _("Say what the procedure is for.")),
    "way_of_sending_is_known": ("how", _("The way of sending is not one the registry knows.")),
    "notice_says_to_whom_it_was_sent": ("sent_to", _("Say to whom the notice was sent.")),
    "notice_is_not_sent_in_the_future": ("sent_at", _("A notice cannot be recorded before it is sent.")),
    "notice_names_the_version_of_its_rule": ("", _("The notice must name the version of its rule.")),
    "notice_follows_the_one_before": ("", _("Another notice of this job was recorded meanwhile; look again.")),
    "notice_matches_its_sha256": ("", _("The notice differs from its SHA-256.")),
    "notice_record_stays_with_its_job": ("", _("This record belongs to another job.")),
    "notice_names_a_supervisor_once": ("", _("The notice names this supervisor already.")),
    "a_worker_is_found_by_how_the_name_looks": ("family_name", _("The person cannot be found by this name.")),
    "people_settledtwin_twin_id_key": ("", _("Somebody settled this one already.")),
    "a_settled_twin_is_two_people_or_one": ("found", _("Say whether they are two people or one.")),
    "settling_a_twin_gives_its_reason": ("reason", _("Say what showed it.")),
    "two_possible_twins_are_noted_once": ("", _("That these two may be one person is noted already.")),
    "nobody_is_their_own_twin": ("", _("Nobody is their own twin.")),
    # Days
    "date_of_birth_is_in_a_year_people_enter": ("date_of_birth", YEARS),
    "employment_starts_in_a_year_people_enter": ("start", YEARS),
    "employment_ends_in_a_year_people_enter": ("end", YEARS),
    "certificate_is_issued_in_a_year_people_enter": ("issued", YEARS),
    "certificate_expires_in_a_year_people_enter": ("expires", YEARS),
    # Standards
    "an_employers_figure_asks_for_something": ("minutes", _("The figure must be at least one minute.")),
}

HIDDEN = "text_has_no_hidden_characters"
WITHDRAWAL = re.compile(r"\w+_withdrawal_supersedes_a_record$")


def constraint_of(error: DatabaseError) -> str | None:
    """The name of the constraint or rule that refused, if the database gave one."""
    diagnostics = getattr(error.__cause__, "diag", None)
    return getattr(diagnostics, "constraint_name", None)


def sqlstate_of(error: DatabaseError) -> str | None:
    """The database's five-character error code."""
    return getattr(error.__cause__, "sqlstate", None)


def broken(rule: str) -> Problem:
    """The rule as broken, in the words for the database's refusal."""
    field, sentence = SENTENCES[rule]
    return Problem(field, rule, str(sentence))


def hidden_in(field: str, character: str) -> Problem:
    """That a text of the field holds a character that cannot be seen, or that changes how others are read."""
    sentence = gettext(
        "%(field)s holds the hidden character %(character)s, which could make it read as something else."
        " Delete it and type the text again."
    )
    named = in_words(field)
    return Problem(
        field, HIDDEN, sentence % {"field": named[:1].upper() + named[1:], "character": code_point(character)}
    )


def translate(error: DatabaseError) -> Exception:
    """The refusal in words, or the error itself where no rule of ours is behind it."""
    name = constraint_of(error)
    if name is None:
        return error
    if name == HIDDEN:
        # The trigger says which column, and as detail the character by its number.
        diagnostics = error.__cause__.diag  # type: ignore[union-attr]
        return RecordRefused([hidden_in(diagnostics.column_name, chr(int(diagnostics.message_detail)))])
    if name in SENTENCES:
        return RecordRefused([broken(name)])
    if WITHDRAWAL.match(name):
        return RecordRefused([Problem("supersedes", name, str(_("A withdrawal must say what it withdraws.")))])
    if name.endswith(("supersedes_id_key", "_supersedes_id_uniq")):
        return RecordRefused([Problem("supersedes", name, str(_("This record has been corrected already.")))])
    return error


@contextmanager
def refusals() -> Iterator[None]:
    """Turn a constraint's refusal within the block into :class:`RecordRefused`."""
    try:
        yield
    except DatabaseError as error:
        translated = translate(error)
        if translated is error:
            raise
        raise translated from error
