"""What a refusal says: one sentence for each rule, whoever finds it broken, the database or a service.

A rule is the name of a constraint, of what SQL refuses (``registry_refuse``), or of what a service refuses
(``registry.database.errors.broken``). Beside it stand the field it is about and its sentence; a service names another
field, and fills the sentence's placeholders. A rule that the database finds has none: it knows no values.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.translation import gettext_lazy as _

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

YEARS = _("Give a year from 1900 to 2199.")
CHOICE = _("%(text)s is none of %(known)s.")
HEADER = _("Row %(row)s, the header: %(troubles)s.")
REGISTERED = _("%(known)s is registered already.")

SENTENCES: dict[str, tuple[str, StrOrPromise]] = {
    # Time and amount of work
    "hours_end_is_after_start": ("end", _("The work must end after it starts.")),
    "hours_fit_into_24_hours": ("end", _("One entry cannot be longer than 24 hours.")),
    "hours_are_not_in_the_future": ("end", _("Hours cannot be recorded before they are worked.")),
    "hours_are_in_whole_minutes": (
        "start",
        _("Work is recorded in whole minutes. For 8 hours and 20 minutes write 8:20."),
    ),
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
    "countersignature_follows_the_work": (
        "at",
        _("The countersignature must lie between the end of the work and now."),
    ),
    "signer_signs_with_their_own_account": ("", _("Everybody signs for themself, with their own account.")),
    "a_signer_has_a_second_factor": (
        "",
        _("A password alone signs nothing. Set up a second factor for your account, then sign."),
    ),
    "a_closed_account_signs_nothing": ("", _("This account is closed. It cannot sign.")),
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
        _("A certificate with this number is suspended or revoked. Only one issued after that can be recorded."),
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
    "a_suspension_ends_once": ("", _("This suspension is over already.")),
    "suspension_gives_its_reason": ("reason", _("Say why the stand-down is suspended.")),
    "reference_is_to_the_same_worker": ("worker", _("This belongs to another worker.")),
    # Countersigning and correcting
    "a_countersignature_is_asked_for_once": ("of", _("This person has been asked to countersign the entry already.")),
    "objection_gives_its_reason": ("reason", _("Say why you do not sign.")),
    "objection_answer_says_something": ("reply", _("Say what you found.")),
    "nobody_is_asked_about_their_own_hours": ("of", _("Nobody countersigns their own hours.")),
    "correction_request_says_what_is_wrong": ("what_is_wrong", _("Say what is wrong.")),
    "correction_request_is_about_a_known_kind": ("", _("This is not a record that can be corrected.")),
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
    "withdrawn_record_stays_withdrawn": ("supersedes", _("A withdrawn record stays withdrawn. Record it again.")),
    "an_imported_line_is_recorded_once": ("imported_line", _("This line has been imported already.")),
    "crane_is_of_the_model": ("crane", _("The crane is of another model.")),
    "site_time_zone_is_known": (
        "time_zone",
        _("There is no such time zone. Give a name of the IANA time zone database, such as Europe/Paris."),
    ),
    "records_are_never_changed": ("", _("Records are never changed or removed. Record a correction instead.")),
    "recorded_at_is_the_present": ("recorded_at", _("The register records the present moment, not another.")),
    # People and equipment
    "account_kind_fits_what_it_is_for": ("kind", _("The account does not fit its kind.")),
    "people_account_username_key": ("username", _("This user name is taken.")),
    "a_worker_has_one_open_account": ("worker", _("This worker has an account already.")),
    "closing_an_account_gives_its_reason": ("reason", _("Say why the account is closed.")),
    "an_account_is_closed_once": ("", _("This account is closed already.")),
    "a_closed_account_stays_closed": ("", _("A closed account stays closed. Invite the person again.")),
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
    "a_closed_account_invites_nobody": ("", _("Your account is closed. It cannot invite anybody.")),
    "an_invitation_ends_with_a_closed_account": (
        "",
        _("An account was closed after this invitation was sent, which ended it. Ask for a new one."),
    ),
    "an_invitation_ends_with_the_next_one": (
        "",
        _("A later invitation replaced this one. Use the later one."),
    ),
    "an_invitation_says_which_way_it_goes": (
        "address",
        _("An invitation goes by mail to an address, on paper, or is printed at the command line."),
    ),
    "workers_invite_nobody": ("", _("Dispatchers, inspectors and the registrar invite; an inspector only workers.")),
    "an_employers_invitation_goes_by_mail": ("address", _("Give the person's own e-mail address.")),
    "an_inspector_hands_the_code_over": ("address", _("An inspector hands the code over in person.")),
    "dispatchers_invite_their_own": (
        "worker",
        _("You can invite dispatchers of your own employer and workers on your books today, nobody else."),
    ),
    "the_registrar_lets_in_again": (
        "worker",
        _("This worker has had an account before. Only the registrar can invite them again."),
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
        _("An account stays what it was opened as. Close it and invite the person again."),
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
    "an_invitation_is_accepted_once": ("", _("This invitation has been used. Sign in instead.")),
    "an_invitation_is_accepted_in_time": ("", _("This invitation has expired. Ask for a new one.")),
    "an_invitation_opens_the_account_it_is_for": ("kind", _("The account is not the one the invitation is for.")),
    "employment_does_not_end_before_it_starts": ("end", _("Employment cannot end before it starts.")),
    "a_registered_person_is_taken_on_with_consent": (
        "start",
        _(
            "This person is registered, and comes onto your books with their own consent: ask them on the page of"
            " new people, or type the code they give you. A worker who returns is asked again. The registrar"
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
    "slot_position_is_unique_for_job_and_role": ("position", _("This position is on the crew already.")),
    "assignment_end_is_after_start": ("end", _("The assignment must end after it starts.")),
    "assignment_lies_within_the_job": ("end", _("The assignment must lie within the job's window.")),
    "assignment_needs_a_permitted_decision": (
        "decision",
        _("Only a permitted decision assigns a person to a position."),
    ),
    "decision_carries_the_engines_seal": ("decision", _("Only the engine gives decisions.")),
    "a_decision_is_recorded_once": ("decision", _("This decision is recorded already, and serves once.")),
    "a_decision_serves_whoever_asked_for_it": (
        "decision",
        _("Another account asked for this decision. Check the person with your own account."),
    ),
    "a_decision_serves_while_it_is_fresh": (
        "decision",
        _("The decision is more than ten minutes old. Check the person again."),
    ),
    "a_crew_is_its_employers_to_change": ("", _("Only an open account of the job's employer changes its crew.")),
    "a_job_is_its_employers_to_plan": ("", _("Only an open account of the employer plans and changes its jobs.")),
    "decision_answers_this_question": (
        "decision",
        _("The decision is not about this person, role, model, operation, employer and window."),
    ),
    "decision_rests_on_current_evidence": (
        "decision",
        _("The evidence has changed since the decision. Check the person again."),
    ),
    "decision_uses_the_standard_in_force": (
        "decision",
        _("Another version of the role standard is in force. Check the person again."),
    ),
    "assignment_sees_concurrent_changes": ("", _("This must run in a read-committed transaction.")),
    "job_is_current": ("job", _("The job has been changed or withdrawn. Use the current plan.")),
    "worker_is_employed_by_the_jobs_employer": (
        "worker",
        _("This person is not on the employer's books for all of that time."),
    ),
    "trainee_is_paired_with_an_erector": (
        "paired_with",
        _("A trainee must be paired with an erector who is on this crew the whole time."),
    ),
    "only_a_trainee_is_paired": ("paired_with", _("Only a trainee is paired with an erector.")),
    "one_person_in_a_slot_at_a_time": ("slot", _("Somebody else is in this position at that time.")),
    "nobody_is_on_two_overlapping_jobs": ("worker", _("This person is on another job at that time.")),
    "nobody_fills_two_places_of_one_role": (
        "worker",
        _("This person is in another position of the same role on this crew at that time."),
    ),
    "the_supervisor_fills_no_other_role": ("worker", _("The erection supervisor fills no other role on the job.")),
    "an_ended_assignment_stays_ended": ("assignment", _("The assignment has already ended.")),
    "nobody_leaves_before_they_were_put_in": ("ends_at", _("An assignment cannot end before it starts.")),
    "nobody_leaves_after_their_time": ("ends_at", _("The assignment is over by then. Give an earlier time.")),
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
    "notice_follows_the_one_before": (
        "",
        _("Another notice of this job was recorded meanwhile. Look at the job again."),
    ),
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
    # Every record
    "a_withdrawal_says_what_it_withdraws": ("supersedes", _("A withdrawal must say what it withdraws.")),
    "a_record_is_corrected_once": ("supersedes", _("This record has been corrected already.")),
    "correction_is_recorded_after_the_record": (
        "recorded_at",
        _("A correction cannot be recorded before what it corrects."),
    ),
    "text_has_no_hidden_characters": (
        "",
        _(
            "%(field)s holds the hidden character %(character)s, which could make it read as something else."
            " Delete it and type the text again."
        ),
    ),
    "records_are_not_being_changed": (
        "",
        _("The records this rests on are being changed right now, by an import for example. Try again in a moment."),
    ),
    "checkpoint_goes_on_from_the_one_before": (
        "",
        _("A checkpoint covers the whole log and follows the checkpoint before it."),
    ),
    # Registering people and employers
    "employer_has_a_name": ("name", _("Give the employer's name.")),
    "employer_is_registered_once": ("name", REGISTERED),
    "worker_has_a_name": ("family_name", _("Give the person's whole name.")),
    "date_of_birth_is_past": ("date_of_birth", _("The date of birth lies in the future.")),
    "worker_is_registered_once": ("family_name", _("%(person)s has the same name and date of birth.")),
    "a_missing_date_of_birth_tells_nobody_apart": (
        "family_name",
        _("%(person)s has the same name and a date of birth is missing. Say whether they are two people."),
    ),
    "people_who_look_alike_are_told_apart": (
        "family_name",
        _("%(person)s looks like this person. Say whether they are two people."),
    ),
    "number_name_and_birth_are_of_one_worker": (
        "number",
        _("Nobody is registered with this number, name and date of birth."),
    ),
    "username_is_taken": ("username", _("This user name is taken.")),
    # Inviting and consent
    "invitation_is_known": ("", _("There is no such invitation. Check that the link or the code is whole.")),
    "this_registry_sends_mail": ("", _("This registry sends no mail. Ask the registrar or an inspector for a code.")),
    "mail_is_sent": ("", _("The mail could not be sent. Invite the person again later.")),
    "a_code_is_good_from_its_day": (
        "start",
        _("The person agreed to no earlier day than their code says. Choose a later first day."),
    ),
    # Makers, models, cranes and sites
    "maker_has_a_name": ("name", _("Give the maker's name.")),
    "maker_is_registered_once": ("name", REGISTERED),
    "model_has_a_designation": ("designation", _("Give the maker's designation of the model.")),
    "model_is_registered_once": ("designation", REGISTERED),
    "model_has_a_class": ("crane_class", _("Give the class of the crane.")),
    "a_class_has_one_spelling": ("crane_class", _("This class is written “%(known)s” in the register.")),
    "model_names_a_configuration_once": ("configurations", _("The configuration %(name)s is named twice.")),
    "crane_has_a_serial_number": ("serial_number", _("Give the serial number on the crane's plate.")),
    "site_has_a_name": ("name", _("Give the site's name.")),
    "site_has_a_jurisdiction": ("jurisdiction", _("Say whose rules hold on the site.")),
    "site_is_registered_once": ("name", REGISTERED),
    # Recording hours and signing them
    "a_day_has_24_hours": ("end", _("This makes %(amount)s on %(day)s; the day has %(longest)s.")),
    "a_sheet_names_somebody": ("", _("Name at least one person.")),
    "nobody_is_on_a_sheet_twice_at_once": ("worker", _("This person is already on the sheet.")),
    "hours_are_recorded_once": (
        "worker",
        _("Hours of this person are recorded for this time already, or for a part of it."),
    ),
    "entry_is_current": ("entry", _("The entry has been corrected or withdrawn.")),
    "an_entry_is_chosen": ("entries", _("Tick at least one entry.")),
    "entry_waits_for_nobody": (
        "entries",
        _("Some of these entries wait for somebody already. Look at the list again."),
    ),
    "entry_waits_for_the_signer": (
        "entries",
        _("Some of these entries no longer wait for you. Look at the list again."),
    ),
    # Assessing, certificates and correcting
    "assessor_was_appointed": ("assessed_at", _("The employer had not appointed you as its assessor then.")),
    "assessment_is_signed": ("signature", _("Sign by typing your name or by hand.")),
    "assessment_is_signed_by_its_assessor": ("signature", _("Sign with your own name: %(name)s.")),
    "third_party_is_named": ("third_party", _("Name the third party.")),
    "third_partys_assessment_has_its_paper": ("document", _("A third party's assessment needs its paper attached.")),
    "a_pass_meets_every_task": ("tasks", _("A pass needs every task of the list met.")),
    "certificate_is_not_issued_in_the_future": ("issued", _("The certificate is not issued yet.")),
    "a_correction_changes_something": ("", _("Nothing is different. Change something, or leave the record as it is.")),
    "correction_gives_its_reason": ("reason", _("Say what is wrong.")),
    "an_assessment_is_its_assessors": ("", _("Only the assessor who gave this assessment corrects or withdraws it.")),
    "an_assessment_is_changed_by_an_appointed_assessor": (
        "",
        _("You no longer assess for %(employer)s. Ask one of its assessors for a new assessment."),
    ),
    # Files
    "document_has_content": ("content", _("The file is empty.")),
    "document_is_not_too_large": ("content", _("The file is larger than %(most)s MB.")),
    "document_is_of_an_accepted_type": ("document", _("This is not %(wanted)s; the content tells, not the name.")),
    "document_name_is_plain": (
        "document",
        _("The file's name holds the hidden character %(character)s. Give the file a plain name."),
    ),
    "document_name_holds_no_path": ("document", _("The file's name holds a path. Give it a plain name.")),
    "document_name_does_not_deceive": (
        "document",
        _("The file's name is that of a program or a page. Give it a plain name."),
    ),
    "file_is_read_in_time": (
        "",
        _("Reading the file took too long, so it was stopped. Hand in a smaller file, or a plainer one."),
    ),
    "file_is_read_in_memory": (
        "",
        _("The file unpacks to more than is read here, so reading was stopped. Hand in a smaller file."),
    ),
    "file_can_be_read": ("", _("The file could not be read. Save it again, or hand in another one.")),
    "file_can_be_opened": ("", _("The file cannot be opened: %(reason)s.")),
    "one_file_at_a_time": ("", _("Another file of yours is being read. Wait until that is done, then try again.")),
    "not_too_many_files_at_once": ("", _("Many files are being read just now. Try again in a minute.")),
    # Importing a table: its columns and rows
    "columns_are_known": ("", HEADER),
    "columns_are_unique": ("", HEADER),
    "columns_are_complete": ("", HEADER),
    "row_is_as_wide_as_the_header": ("", _("The row has %(number)s cells, the header has %(expected)s.")),
    "filled_cell_has_a_header": ("", _("The cell is filled, but its column has no name.")),
    "records_are_not_waited_for": (
        "",
        _("Others are recording about the same people just now, so this took too long. Try again."),
    ),
    "hours_are_brought_in_once": (
        "start",
        _(
            "%(number)s has hours recorded from this start to this end with other values. Correct or countersign"
            " that record instead."
        ),
    ),
    "assessment_is_brought_in_once": (
        "outcome",
        _("This assessment is recorded already with other values. Correct that record instead."),
    ),
    "certificate_is_brought_in_once": (
        "number",
        _("This certificate is recorded already with other values. Correct that record instead."),
    ),
    "hours_of_another_register_are_signed": (
        "origin",
        _("Hours of another register come as its signed transcript, not in a table."),
    ),
    "worker_is_on_the_books": (
        "number",
        _(
            "Nobody on the books has this number, name and date of birth. Take on somebody who is registered"
            " already on the page of new people, one by one."
        ),
    ),
    "namesakes_are_taken_on_one_by_one": (
        "family_name",
        _(
            "The table has more than %(most)s new people of this name. Take them on on the page of new people,"
            " one by one."
        ),
    ),
    # Importing a table: what a cell says
    "cell_is_filled": ("", _("%(value)s must be given.")),
    "end_or_duration_is_given": ("end", _("The end or the duration must be given.")),
    "cell_has_no_hidden_characters": (
        "",
        _("The cell holds the hidden character %(character)s. Delete it and type the text again."),
    ),
    "text_is_not_too_long": ("", _("%(text)s has %(number)s characters; at most %(longest)s fit.")),
    "role_is_known": ("role", CHOICE),
    "operation_is_known": ("operation", CHOICE),
    "operations_is_known": ("operations", CHOICE),
    "outcome_is_known": ("outcome", CHOICE),
    "capacity_is_known": ("capacity", CHOICE),
    "origin_is_known": ("origin", CHOICE),
    "worker_is_registered": (
        "worker",
        _("Nobody on the books has this number, or this name and date of birth: %(named)s."),
    ),
    "worker_has_this_date_of_birth": ("worker", _("%(number)s was not born on %(day)s.")),
    "worker_is_named_by_number_or_birth": (
        "worker",
        _("A name alone does not tell who %(name)s is. Give the number (W-000123) or the date of birth too."),
    ),
    "worker_is_unambiguous": ("worker", _("%(name)s may be any of %(numbers)s. Give the worker's number.")),
    "model_is_registered": ("model", _("There is no crane model %(name)s. Give maker and designation.")),
    "model_is_spelled_as_registered": ("model", _("There is no crane model %(name)s. Is it %(model)s?")),
    "model_is_unambiguous": ("model", _("%(name)s is the name of several crane models. Give the maker too.")),
    "configuration_is_the_models": (
        "configuration",
        _("%(model)s has no configuration %(name)s; it has %(configurations)s."),
    ),
    "crane_is_registered": ("crane", _("There is no crane with serial number %(number)s.")),
    "site_is_registered": ("site", _("There is no site %(name)s.")),
    "site_is_unambiguous": ("site", _("There are %(number)s sites called %(name)s.")),
    "time_zone_is_known": ("site", _("Give the site, or a time zone for the whole file.")),
    "assessment_of_today_gives_its_time": ("time", _("An assessment of today must give its time.")),
    "countersignature_names_its_signer": ("countersigner", _("Say who countersigned.")),
    "date_has_no_time": ("", _("%(value)s holds a time. Give the date alone.")),
    "date_is_written_as_a_date": ("", _("%(text)s is not a date. Write it as 2026-03-04.")),
    "date_is_unambiguous": (
        "",
        _("%(text)s may be day/month or month/day. Write 2026-03-04, or say which comes first."),
    ),
    "year_has_four_digits": ("", _("%(text)s must give the year with four digits.")),
    "date_is_in_the_calendar": ("", _("%(text)s is not a day of the calendar from %(first)s to %(last)s.")),
    "time_is_written_as_a_time": ("", _("%(text)s is not a time. Write it as 07:00.")),
    "time_is_on_the_clock": ("", _("%(text)s is not a time of day.")),
    "time_exists_at_the_site": ("", _("%(instant)s does not exist in %(zone)s: the clocks were put forward.")),
    "time_is_unambiguous_at_the_site": ("", _("%(instant)s came twice in %(zone)s: the clocks were put back.")),
    "duration_is_in_hours": ("duration", _("%(text)s is not a length of time. Write 8.5 or 8:30.")),
    "duration_is_from_start_to_end": (
        "duration",
        _(
            "From start to end are %(between)s, the duration says %(duration)s. Give work before and after a"
            " break in rows of their own."
        ),
    ),
    # Crews: asked before the database is
    "assignment_starts_within_the_job": ("start", _("The job starts at %(instant)s. Give that time or a later one.")),
    "assignment_ends_within_the_job": ("end", _("The job ends at %(instant)s. Give that time or an earlier one.")),
    "a_time_lies_within_the_assignment": (
        "ends_at",
        _("%(name)s is in this position from %(start)s to %(end)s. Give a time before that end."),
    ),
    "nobody_is_replaced_after_leaving": ("start", _("%(name)s has left this position already, at %(end)s.")),
    "standard_is_in_force_for_the_employer": (
        "standard",
        _("This role standard is not in force where the employer is on that day."),
    ),
    "standard_speaks_of_the_role": ("role", _("This role standard says nothing of a %(role)s in %(operation)s.")),
    # Notices: what is sent
    "the_packet_is_as_it_was_shown": (
        "",
        _("The packet has changed since it was shown. Look at it again, and send what it says now."),
    ),
    "notice_says_what_the_rule_asks_for": ("", _("%(what)s %(remedy)s")),
    "notice_is_sent_after_its_job_was_planned": (
        "sent_at",
        _("This job was first planned at %(instant)s; its notice was not sent before that."),
    ),
    # As known at an instant
    "instant_is_iso_8601": ("at", _("%(text)s is not an instant. Write it as 2026-05-01T07:30+02:00.")),
    "instant_has_an_offset": ("at", _("Give the instant with its offset from UTC, such as 2026-05-01T07:30+02:00.")),
    "instant_is_past": ("at", _("The register cannot know the future. Give an instant that is past.")),
    "instant_is_in_a_year_of_the_register": ("at", _("Give an instant of the years %(earliest)s to %(latest)s.")),
    # Erasing a person
    "a_worker_is_erased_once": ("worker", _("Nothing is left to erase.")),
    "nobody_in_an_assignment_is_erased": ("worker", _("Assignment %(number)d lasts until %(end)s.")),
    "records_are_kept_for_their_period": ("worker", _("%(record)s.")),
    "the_ground_names_nobody": ("ground", _("The ground stays for ever. Leave the person's name out.")),
}


def sentence_of(rule: str, /, **values: object) -> str:
    """What the rule says, in the language in force, with its placeholders filled."""
    return str(SENTENCES[rule][1]) % values
