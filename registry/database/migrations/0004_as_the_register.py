from django.db import migrations

from registry.database.grants import shown_instead
from registry.database.sql_files import run_sql_file


class Migration(migrations.Migration):
    dependencies = [("database", "0003_row_level_security")]
    operations = [
        run_sql_file(__file__, "as_the_register.sql"),
        shown_instead(
            "evidence_hoursentry",
            """
                employer_id = (SELECT registry_reader_employer()) OR {about_person}
                OR registry_shows_entry(id) OR supersedes_id IS NOT NULL AND registry_shows_entry(supersedes_id)
            """,
        ),
        # Whoever was refused a place on a job sees who looked at that job, as its crew does.
        shown_instead(
            "inspection_look",
            """
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
                         OR EXISTS (SELECT FROM crews_job job WHERE job.id = inspection_look.job_id
                                    AND job.employer_id = (SELECT registry_reader_employer())))
            """,
        ),
    ]
