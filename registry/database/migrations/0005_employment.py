from django.db import migrations

from registry.database.grants import shown_instead

OF_ITS_OWN = "employer_id = (SELECT registry_reader_employer())"
OF_ITS_OWN_FORMER_PEOPLE = OF_ITS_OWN + " AND (SELECT registry_left_people()) ? {table}.worker_id::text"

# Of its own entries an employer reads everything that is said of them, of its people's what was said in their time.
REMARK = """
    CASE WHEN (SELECT registry_reader_employer()) IS NULL
        THEN EXISTS (SELECT FROM evidence_hoursentry entry WHERE entry.id = {table}.entry_id)
        ELSE registry_shows_remark({table}.entry_id, {table}.recorded_at) END
"""
IN_TIME = """
    ((SELECT registry_reader_employer()) IS NULL OR {parent}.employer_id = (SELECT registry_reader_employer())
     OR EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = {parent}.worker_id)
     OR {table}.recorded_at < ((SELECT registry_left_people()) ->> {parent}.worker_id::text)::timestamptz)
"""

SHOWN = {
    "evidence_certification": "{about_person} OR {corrects_own}",
    "evidence_certificationstatus": "{about_person} OR {corrects_own}",
    "evidence_instruction": "{about_person} OR {corrects_own}",
    "people_languageskill": "{about_person} OR {corrects_own}",
    "evidence_standdownsuspension": "{about_person}",
    "evidence_standdown": OF_ITS_OWN_FORMER_PEOPLE.format(table="evidence_standdown")
    + " OR {about_person} OR {corrects_own}",
    "evidence_hoursentry": OF_ITS_OWN
    + """
        OR {about_person} OR registry_shows_entry(id)
        OR supersedes_id IS NOT NULL AND registry_shows_entry(supersedes_id) OR {corrects_own}
    """,
    "evidence_assessment": OF_ITS_OWN_FORMER_PEOPLE.format(table="evidence_assessment")
    + """
        OR {about_person} OR assessor_id = (SELECT registry_reader_worker())
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_given_assessments given
            WHERE given.assessment_id = evidence_assessment.supersedes_id)
        OR {corrects_own}
    """,
    "evidence_appointment": OF_ITS_OWN + " OR {about_person} OR {corrects_own}",
    # An assessor has to find the people of the employer that appointed them. An employer reads all employments of its
    # own people at itself, and what became of them, also what was recorded once they had left.
    "people_employment": """
        {about_person}
        OR (SELECT registry_left_people()) ? people_employment.worker_id::text AND (
            employer_id = (SELECT registry_reader_employer())
            OR supersedes_id IS NOT NULL AND EXISTS (
                SELECT FROM registry_own_employments own WHERE own.employment_id = people_employment.supersedes_id))
        OR employer_id IN (SELECT assessed.employer_id FROM registry_assessed_employers assessed)
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_assessed_employments assessed
            WHERE assessed.employment_id = people_employment.supersedes_id)
        OR {corrects_own}
    """,
    "evidence_countersignature": "by_id = (SELECT registry_reader_worker()) OR "
    + REMARK.format(table="evidence_countersignature"),
    "evidence_countersignaturerequest": "of_id = (SELECT registry_reader_worker()) OR "
    + REMARK.format(table="evidence_countersignaturerequest"),
    "evidence_entryobjection": "by_id = (SELECT registry_reader_worker()) OR "
    + REMARK.format(table="evidence_entryobjection"),
    "evidence_objectionanswer": """
        EXISTS (
            SELECT FROM evidence_entryobjection objection WHERE objection.id = objection_id
            AND ((SELECT registry_reader_employer()) IS NULL
                 OR registry_shows_remark(objection.entry_id, evidence_objectionanswer.recorded_at)))
    """,
    "evidence_correctionanswer": "EXISTS (SELECT FROM evidence_correctionrequest request WHERE request.id = request_id AND "
    + IN_TIME.format(parent="request", table="evidence_correctionanswer")
    + ")",
    "notices_namedsupervisor": """
        worker_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = notices_namedsupervisor.worker_id)
        OR recorded_at < ((SELECT registry_left_people()) ->> notices_namedsupervisor.worker_id::text)::timestamptz
        OR EXISTS (
            SELECT FROM notices_sentnotice notice JOIN crews_job job ON job.id = notice.job_id
            WHERE notice.id = notices_namedsupervisor.notice_id
                AND job.employer_id = (SELECT registry_reader_employer()))
    """,
    "inspection_look": """
        recorded_by_id = (SELECT registry_reader_account()) OR worker_id = (SELECT registry_reader_worker())
        OR worker_id IS NULL AND (
            EXISTS (
                SELECT FROM crews_slot slot JOIN crews_assignment assignment ON assignment.slot_id = slot.id
                WHERE slot.job_id = inspection_look.job_id
                    AND assignment.worker_id = (SELECT registry_reader_worker()))
            OR EXISTS (
                SELECT FROM crews_slot slot JOIN crews_refusal refusal ON refusal.slot_id = slot.id
                JOIN crews_decision decision ON decision.id = refusal.decision_id
                WHERE slot.job_id = inspection_look.job_id
                    AND decision.worker_id = (SELECT registry_reader_worker())))
        OR EXISTS (SELECT FROM people_account looker
                   WHERE looker.id = inspection_look.recorded_by_id AND looker.kind = 'inspector')
            AND (EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = inspection_look.worker_id)
                 OR recorded_at < ((SELECT registry_left_people()) ->> inspection_look.worker_id::text)::timestamptz
                 OR EXISTS (SELECT FROM crews_job job WHERE job.id = inspection_look.job_id
                            AND job.employer_id = (SELECT registry_reader_employer())))
    """,
}


class Migration(migrations.Migration):
    """Who employed somebody reads what was recorded until then, and what it recorded itself."""

    dependencies = [
        ("database", "0004_as_the_register"),
        ("evidence", "0012_suspensions_guarded"),
        ("notices", "0002_append_only"),
    ]
    operations = [shown_instead(table, condition) for table, condition in SHOWN.items()]
