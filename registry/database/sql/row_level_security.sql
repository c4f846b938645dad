-- Who reads which records. The setting registry.reader says for whom a connection reads:
--   ''             the register itself: its services, its engine, commands, migrations
--   'account:12'   somebody signed in
--   'public'       nobody
-- Anything else reads nothing. The owner, who migrates and erases, is not bound by any of it.

CREATE FUNCTION registry_reader() RETURNS text
LANGUAGE sql STABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT coalesce(current_setting('registry.reader', true), '')
$$;

CREATE FUNCTION registry_reader_account() RETURNS bigint
LANGUAGE sql STABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT substring(public.registry_reader() FROM '^account:([0-9]{1,18})$')::bigint
$$;

CREATE FUNCTION registry_reader_worker() RETURNS bigint
LANGUAGE sql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT worker_id FROM public.people_account WHERE id = public.registry_reader_account() AND kind = 'worker'
$$;

CREATE FUNCTION registry_reader_employer() RETURNS bigint
LANGUAGE sql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT employer_id FROM public.people_account WHERE id = public.registry_reader_account() AND kind = 'employer'
$$;

CREATE FUNCTION registry_reads_everything() RETURNS boolean
LANGUAGE sql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT public.registry_reader() = '' OR EXISTS (
        SELECT FROM public.people_account
        WHERE id = public.registry_reader_account() AND kind IN ('inspector', 'registrar'))
$$;

-- What policies look up. A view reads with its owner's rights, so that no policy asks another one in a circle;
-- each shows only what belongs to the reader. Being views, and no functions that return rows, they let the planner
-- choose between looking up one row and reading all of them once.

-- The people whose whole record an employer sees: those on its books, on whatever day.
CREATE VIEW registry_own_people AS
    SELECT employment.worker_id FROM people_employment employment
    WHERE employment.employer_id = (SELECT registry_reader_employer()) AND NOT employment.withdrawn
        AND NOT EXISTS (SELECT FROM people_employment later WHERE later.supersedes_id = employment.id);

-- Hours of other people that the reader has to do with: recorded for the employer; signed by the worker, asked of
-- them, or declined by them.
CREATE VIEW registry_own_entries AS
    SELECT id AS entry_id FROM evidence_hoursentry WHERE employer_id = (SELECT registry_reader_employer())
    UNION ALL
    SELECT entry_id FROM evidence_countersignature WHERE by_id = (SELECT registry_reader_worker())
    UNION ALL
    SELECT entry_id FROM evidence_countersignaturerequest WHERE of_id = (SELECT registry_reader_worker())
    UNION ALL
    SELECT entry_id FROM evidence_entryobjection WHERE by_id = (SELECT registry_reader_worker());

CREATE VIEW registry_given_assessments AS
    SELECT id AS assessment_id FROM evidence_assessment WHERE assessor_id = (SELECT registry_reader_worker());

CREATE VIEW registry_own_appointments AS
    SELECT id AS appointment_id FROM evidence_appointment WHERE employer_id = (SELECT registry_reader_employer());

-- The employers that appointed the reader as their assessor, on whatever day, and the employments there.
CREATE VIEW registry_assessed_employers AS
    SELECT act.employer_id FROM evidence_appointment act
    WHERE act.worker_id = (SELECT registry_reader_worker()) AND act.duty = 'assessor' AND NOT act.withdrawn
        AND act.employer_id IS NOT NULL
        AND NOT EXISTS (SELECT FROM evidence_appointment later WHERE later.supersedes_id = act.id);

CREATE VIEW registry_assessed_employments AS
    SELECT id AS employment_id FROM people_employment
    WHERE employer_id IN (SELECT employer_id FROM registry_assessed_employers);

CREATE VIEW registry_opened_links AS
    SELECT link_id FROM transcripts_linkopening WHERE recorded_by_id = (SELECT registry_reader_account());

DO $$
DECLARE
    view_name text;
BEGIN
    FOREACH view_name IN ARRAY ARRAY[
        'registry_own_people', 'registry_own_entries', 'registry_given_assessments', 'registry_own_appointments',
        'registry_assessed_employers', 'registry_assessed_employments', 'registry_opened_links'
    ] LOOP
        EXECUTE format('GRANT SELECT ON %I TO registry_application', view_name);
    END LOOP;
END
$$;

-- The policies. What stands in (SELECT …) is worked out once in a statement; where everything is read, the rest of
-- the condition is never looked at. Whoever sees a record also sees what supersedes it: otherwise a corrected record
-- would pass for the present one.
CREATE TABLE registry_reading (table_name text, may_read text);
INSERT INTO registry_reading (table_name, may_read) VALUES
    ('evidence_certification', 'ABOUT_PERSON'),
    ('evidence_certificationstatus', 'ABOUT_PERSON'),
    ('evidence_standdown', 'ABOUT_PERSON'),
    ('evidence_instruction', 'ABOUT_PERSON'),
    ('people_languageskill', 'ABOUT_PERSON'),
    ('transcripts_issuedtranscript', 'ABOUT_PERSON'),
    ('evidence_hoursentry', 'ABOUT_PERSON OR employer_id = (SELECT registry_reader_employer())
        OR EXISTS (SELECT FROM registry_own_entries own WHERE own.entry_id = evidence_hoursentry.id)
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_own_entries own WHERE own.entry_id = evidence_hoursentry.supersedes_id)'),
    ('evidence_assessment', 'ABOUT_PERSON OR assessor_id = (SELECT registry_reader_worker())
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_given_assessments given
            WHERE given.assessment_id = evidence_assessment.supersedes_id)'),
    ('evidence_appointment', 'ABOUT_PERSON OR employer_id = (SELECT registry_reader_employer())
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_own_appointments own WHERE own.appointment_id = evidence_appointment.supersedes_id)'),
    -- An assessor has to find the people of the employer that appointed them.
    ('people_employment', 'ABOUT_PERSON
        OR employer_id IN (SELECT assessed.employer_id FROM registry_assessed_employers assessed)
        OR supersedes_id IS NOT NULL AND EXISTS (
            SELECT FROM registry_assessed_employments assessed
            WHERE assessed.employment_id = people_employment.supersedes_id)'),
    -- What was said about a record is read with the record.
    ('evidence_countersignature', 'by_id = (SELECT registry_reader_worker()) OR EXISTS (
        SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_countersignature.entry_id)'),
    ('evidence_countersignaturerequest', 'of_id = (SELECT registry_reader_worker()) OR EXISTS (
        SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_countersignaturerequest.entry_id)'),
    ('evidence_entryobjection', 'by_id = (SELECT registry_reader_worker()) OR EXISTS (
        SELECT FROM evidence_hoursentry entry WHERE entry.id = evidence_entryobjection.entry_id)'),
    ('evidence_objectionanswer', 'EXISTS (
        SELECT FROM evidence_entryobjection objection WHERE objection.id = evidence_objectionanswer.objection_id)'),
    ('evidence_assessmentsignature', 'EXISTS (
        SELECT FROM evidence_assessment assessment WHERE assessment.id = evidence_assessmentsignature.assessment_id)'),
    ('evidence_correctionrequest', 'ABOUT_PERSON OR employer_id = (SELECT registry_reader_employer())
        OR record_kind = ''assessment'' AND EXISTS (
            SELECT FROM registry_given_assessments given
            WHERE given.assessment_id = evidence_correctionrequest.record_id)'),
    ('evidence_correctionanswer', 'EXISTS (
        SELECT FROM evidence_correctionrequest request WHERE request.id = evidence_correctionanswer.request_id)'),
    -- A decision is between the employer that asked and the worker; no other employer of theirs sees it.
    ('crews_decision', 'worker_id = (SELECT registry_reader_worker())
        OR employer_id = (SELECT registry_reader_employer())'),
    ('crews_decisiondependency', 'EXISTS (
        SELECT FROM crews_decision decision WHERE decision.id = crews_decisiondependency.decision_id)'),
    ('crews_refusal', 'EXISTS (SELECT FROM crews_decision decision WHERE decision.id = crews_refusal.decision_id)'),
    -- A link is the worker's own affair; whoever looked through it knows of it.
    ('transcripts_sharedlink', 'worker_id = (SELECT registry_reader_worker())
        OR EXISTS (SELECT FROM registry_opened_links opened WHERE opened.link_id = transcripts_sharedlink.id)'),
    ('transcripts_endedlink', 'EXISTS (
        SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_endedlink.link_id)'),
    ('transcripts_linkopening', 'recorded_by_id = (SELECT registry_reader_account()) OR EXISTS (
        SELECT FROM transcripts_sharedlink link WHERE link.id = transcripts_linkopening.link_id
            AND link.worker_id = (SELECT registry_reader_worker()))'),
    ('notices_namedsupervisor', 'ABOUT_PERSON OR EXISTS (
        SELECT FROM notices_sentnotice notice JOIN crews_job job ON job.id = notice.job_id
        WHERE notice.id = notices_namedsupervisor.notice_id
            AND job.employer_id = (SELECT registry_reader_employer()))'),
    -- What another employer of the same person looked at is between those two.
    ('inspection_look', 'recorded_by_id = (SELECT registry_reader_account())
        OR worker_id = (SELECT registry_reader_worker())
        OR worker_id IS NULL AND EXISTS (
            SELECT FROM crews_slot slot JOIN crews_assignment assignment ON assignment.slot_id = slot.id
            WHERE slot.job_id = inspection_look.job_id AND assignment.worker_id = (SELECT registry_reader_worker()))
        OR EXISTS (SELECT FROM people_account looker
                   WHERE looker.id = inspection_look.recorded_by_id AND looker.kind = ''inspector'')
            AND (EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = inspection_look.worker_id)
                 OR EXISTS (SELECT FROM crews_job job WHERE job.id = inspection_look.job_id
                            AND job.employer_id = (SELECT registry_reader_employer())))');

DO $$
DECLARE
    wanted record;
    about_person text;
BEGIN
    FOR wanted IN SELECT * FROM registry_reading LOOP
        about_person := format(
            'worker_id = (SELECT registry_reader_worker()) OR EXISTS ('
            'SELECT FROM registry_own_people own WHERE own.worker_id = %I.worker_id)', wanted.table_name);
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', wanted.table_name);
        EXECUTE format('CREATE POLICY read_by_whom_it_concerns ON %I FOR SELECT TO registry_application '
                       'USING ((SELECT registry_reads_everything()) OR %s)',
                       wanted.table_name, replace(wanted.may_read, 'ABOUT_PERSON', about_person));
        -- What may be written is for grants, constraints and triggers to say.
        EXECUTE format('CREATE POLICY written_by_the_register ON %I FOR INSERT TO registry_application '
                       'WITH CHECK (true)', wanted.table_name);
    END LOOP;
END
$$;
DROP TABLE registry_reading;
