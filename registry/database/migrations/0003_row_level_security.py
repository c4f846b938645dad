from django.db import migrations

from registry.database.grants import shown_to
from registry.database.sql_files import run_sql_file

ABOUT_A_PERSON = [
    "evidence_certification",
    "evidence_certificationstatus",
    "evidence_standdown",
    "evidence_instruction",
    "people_languageskill",
    "transcripts_issuedtranscript",
]

# Whoever sees a record also sees what supersedes it: otherwise a corrected record would pass for the present one.
SHOWN_TO = {
    "evidence_hoursentry": """
        employer_id = (SELECT registry_reader_employer()) OR {about_person}
        OR EXISTS (SELECT FROM registry_own_entries own WHERE own.entry_id = evidence_hoursentry.id)
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_own_entries own WHERE own.entry_id = evidence_hoursentry.supersedes_id)
    """,
    "evidence_assessment": """
        {about_person} OR assessor_id = (SELECT registry_reader_worker())
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_given_assessments given
            WHERE given.assessment_id = evidence_assessment.supersedes_id)
    """,
    "evidence_appointment": """
        employer_id = (SELECT registry_reader_employer()) OR {about_person}
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_own_appointments own WHERE own.appointment_id = evidence_appointment.supersedes_id)
    """,
    # An assessor has to find the people of the employer that appointed them.
    "people_employment": """
        {about_person} OR employer_id IN (SELECT assessed.employer_id FROM registry_assessed_employers assessed)
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_assessed_employments assessed
            WHERE assessed.employment_id = people_employment.supersedes_id)
    """,
    # What was said about a record is read with the record.
    "evidence_countersignature": """
        by_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_countersignature.entry_id)
    """,
    "evidence_countersignaturerequest": """
        of_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_countersignaturerequest.entry_id)
    """,
    "evidence_entryobjection": """
        by_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_entryobjection.entry_id)
    """,
    "evidence_objectionanswer": """
        EXISTS (SELECT FROM evidence_entryobjection objection WHERE objection.id = objection_id)
    """,
    "evidence_assessmentsignature": """
        EXISTS (SELECT FROM evidence_assessment assessment WHERE assessment.id = assessment_id)
    """,
    "evidence_correctionrequest": """
        employer_id = (SELECT registry_reader_employer()) OR {about_person}
        OR record_kind = 'assessment' AND EXISTS (
            SELECT FROM registry_given_assessments given
            WHERE given.assessment_id = evidence_correctionrequest.record_id)
    """,
    "evidence_correctionanswer": """
        EXISTS (SELECT FROM evidence_correctionrequest request WHERE request.id = request_id)
    """,
    # A decision is between the employer that asked and the worker; no other employer of theirs sees it.
    "crews_decision": """
        worker_id = (SELECT registry_reader_worker()) OR employer_id = (SELECT registry_reader_employer())
    """,
    "crews_decisiondependency": "EXISTS (SELECT FROM crews_decision decision WHERE decision.id = decision_id)",
    "crews_refusal": "EXISTS (SELECT FROM crews_decision decision WHERE decision.id = decision_id)",
    # A link is the worker's own affair; whoever looked through it knows of it.
    "transcripts_sharedlink": """
        worker_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM registry_opened_links opened WHERE opened.link_id = transcripts_sharedlink.id)
    """,
    "transcripts_endedlink": """
        EXISTS (SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_endedlink.link_id)
    """,
    "transcripts_linkopening": """
        recorded_by_id = (SELECT registry_reader_account())
        OR EXISTS (SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_linkopening.link_id
                   AND link.worker_id = (SELECT registry_reader_worker()))
    """,
    "notices_namedsupervisor": """
        worker_id = (SELECT registry_reader_worker()) OR EXISTS (
            SELECT FROM notices_sentnotice notice JOIN crews_job job ON job.id = notice.job_id
            WHERE notice.id = notices_namedsupervisor.notice_id
                AND job.employer_id = (SELECT registry_reader_employer()))
    """,
    # What another employer of the same person looked at is between those two.
    "inspection_look": """
        recorded_by_id = (SELECT registry_reader_account()) OR worker_id = (SELECT registry_reader_worker())
        OR worker_id IS NULL AND EXISTS (
            SELECT FROM crews_slot slot JOIN crews_assignment assignment ON assignment.slot_id = slot.id
            WHERE slot.job_id = inspection_look.job_id AND assignment.worker_id = (SELECT registry_reader_worker()))
        OR EXISTS (SELECT FROM people_account looker
                   WHERE looker.id = inspection_look.recorded_by_id AND looker.kind = 'inspector')
            AND (EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = inspection_look.worker_id)
                 OR EXISTS (SELECT FROM crews_job job WHERE job.id = inspection_look.job_id
                            AND job.employer_id = (SELECT registry_reader_employer())))
    """,
}


class Migration(migrations.Migration):
    # The policies stand on tables of all packages; in Python this one knows none of them.
    dependencies = [
        ("database", "0002_cache"),
        ("people", "0004_what_ends"),
        ("evidence", "0006_what_ends"),
        ("crews", "0002_guard"),
        ("transcripts", "0004_shared_links_guarded"),
        ("notices", "0002_append_only"),
        ("inspection", "0002_append_only"),
    ]
    operations = [
        run_sql_file(__file__, "row_level_security.sql", undone_by="no_row_level_security.sql"),
        *(shown_to(each, "{about_person}") for each in ABOUT_A_PERSON),
        *(shown_to(table, condition) for table, condition in SHOWN_TO.items()),
    ]
