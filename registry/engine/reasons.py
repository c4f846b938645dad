"""Why a record did not count, or counted in part: each reason's sentence, in one place."""

from __future__ import annotations

from registry.engine.sentences import sentence

REASONS: dict[str, str] = {
    "another_model": sentence("on a crane model that this requirement does not count"),
    "another_configuration": sentence("on another configuration of the model"),
    "another_operation": sentence("in an operation that this requirement does not count"),
    "another_capacity": sentence("worked in another capacity"),
    "another_role": sentence("for another role"),
    "another_scheme": sentence("a certificate of another scheme"),
    "scope_missing": sentence("the certificate's scope does not cover what is asked"),
    "another_topic": sentence("instruction on another topic"),
    "another_provider": sentence("given by somebody this requirement does not accept"),
    "another_duty": sentence("an appointment to another duty"),
    "another_kind": sentence("an appointment of another kind"),
    "another_employer": sentence("an appointment by another employer"),
    "no_stop_work_authority": sentence("the appointment gives no authority to stop work"),
    "no_document": sentence("the document that must be attached is missing"),
    "too_old": sentence("too long before the work"),
    "not_in_the_window": sentence("not valid throughout the window"),
    "after_the_window_starts": sentence("not yet available when the window starts"),
    "suspended_or_revoked": sentence("suspended or revoked"),
    "before_what_must_come_first": sentence("worked before what must come first was met"),
    "after_a_long_pause": sentence("before a pause longer than the standard allows"),
    "overlap_or_day_cap": sentence("overlapping minutes count once, those past the day's limit not at all"),
    "claimed": sentence("claimed only: nobody countersigned"),
    "paper_without_scan": sentence("transcribed from paper without a scan attached"),
    "import_unverified": sentence("imported without a verified signature"),
    "signed_by_the_worker": sentence("signed by the worker alone"),
    "leads_back_to_the_worker": sentence("the signature leads back to the worker in question"),
    "countersigner_not_entitled": sentence("the countersigner was not entitled on that date"),
    "sign_off_ring": sentence("signed only by people who sign for one another"),
    "provenance_witnessed": sentence("witnessed entries do not count under this standard"),
    "provenance_countersigned_late": sentence("countersigned too late to count under this standard"),
    "provenance_transcribed": sentence("entries transcribed from paper do not count under this standard"),
    "provenance_imported": sentence("imported entries do not count under this standard"),
    "recorded_late": sentence("recorded too long after the work"),
    "crane_not_on_site": sentence("the register does not show the crane on that site at that time"),
    "not_yet_competent": sentence("the outcome was not yet competent"),
    "overturned": sentence("a later assessment found the worker not yet competent"),
    "not_practical": sentence("not a practical assessment"),
    "assessed_by_the_worker": sentence("the worker cannot assess themself"),
    "other_employers_assessment": sentence("another employer's own assessment is not portable"),
    "not_a_third_party": sentence("not given by an independent third party"),
    "not_the_employers": sentence("not the employer's own assessment"),
    "assessor_not_independent": sentence("the assessor's own records were signed by the worker"),
    "assessor_is_a_trainee": sentence("the assessor was a trainee on this model"),
    "assessor_not_entitled": sentence("the assessor was not entitled on that date"),
    "stand_down": sentence("a stand-down is in force"),
    "one_author_lifts": sentence(
        "lifts no stand-down: one account recorded both the retraining and the re-assessment, "
        "and it is not the assessor's own"
    ),
    "assessor_made_by_who_lifts": sentence(
        "lifts no stand-down: the assessor's right to assess rests on what the author of the retraining "
        "or of the re-assessment recorded"
    ),
    "other_language": sentence("another language"),
}

IN_PART: dict[str, str] = {
    "witnessed": sentence("witnessed"),
    "countersigned_late": sentence("signed late"),
    "transcribed": sentence("transcribed from paper"),
    "imported": sentence("imported"),
    "recorded_late": sentence("recorded late"),
    "crane_not_on_site": sentence("on a crane that the register does not show there"),
}
"""Why hours count only as the standard's share of a total."""
