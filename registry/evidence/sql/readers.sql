-- Hours of other people that the reader has to do with: recorded for the employer; signed by the worker, asked of
-- them, or declined by them.
CREATE OR REPLACE VIEW registry_own_entries AS
    SELECT id AS entry_id FROM evidence_hoursentry WHERE employer_id = (SELECT registry_reader_employer())
    UNION ALL
    SELECT entry_id FROM evidence_countersignature WHERE by_id = (SELECT registry_reader_worker())
    UNION ALL
    SELECT entry_id FROM evidence_countersignaturerequest WHERE of_id = (SELECT registry_reader_worker())
    UNION ALL
    SELECT entry_id FROM evidence_entryobjection WHERE by_id = (SELECT registry_reader_worker());

CREATE OR REPLACE VIEW registry_given_assessments AS
    SELECT id AS assessment_id FROM evidence_assessment WHERE assessor_id = (SELECT registry_reader_worker());

CREATE OR REPLACE VIEW registry_own_appointments AS
    SELECT id AS appointment_id FROM evidence_appointment WHERE employer_id = (SELECT registry_reader_employer());

-- The employers that appointed the reader as their assessor, on whatever day, and the employments there.
CREATE OR REPLACE VIEW registry_assessed_employers AS
    SELECT act.employer_id FROM evidence_appointment act
    WHERE act.worker_id = (SELECT registry_reader_worker()) AND act.duty = 'assessor' AND NOT act.withdrawn
        AND act.employer_id IS NOT NULL
        AND NOT EXISTS (SELECT FROM evidence_appointment later WHERE later.supersedes_id = act.id);

CREATE OR REPLACE VIEW registry_assessed_employments AS
    SELECT id AS employment_id FROM people_employment
    WHERE employer_id IN (SELECT employer_id FROM registry_assessed_employers);
GRANT SELECT ON registry_own_entries, registry_given_assessments, registry_own_appointments,
    registry_assessed_employers, registry_assessed_employments TO registry_application;

-- The hours of people on the reader's books now: what was said of them is read whatever its time.
CREATE OR REPLACE VIEW registry_own_peoples_entries AS
    SELECT entry.id AS entry_id FROM evidence_hoursentry entry
    WHERE EXISTS (SELECT FROM registry_own_people own WHERE own.worker_id = entry.worker_id);
GRANT SELECT ON registry_own_peoples_entries TO registry_application;

-- Whether the reader has to do with other people's hours. As a subquery in the policy it was planned anew, four times
-- over, in each statement that reads hours or what was said about them, which took longer than reading them; as a
-- function it is asked only of the few rows that nothing cheaper shows.
CREATE OR REPLACE FUNCTION registry_shows_entry(entry bigint) RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN EXISTS (SELECT FROM public.registry_own_entries own WHERE own.entry_id = entry);
END
$$;

-- Whether an employer reads what somebody said of an entry at that instant: of its own entries all, of its people's
-- what was recorded in their time. Of people on its books now registry_own_peoples_entries says so many times sooner.
CREATE OR REPLACE FUNCTION registry_shows_remark(entry bigint, said_at timestamptz) RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    about public.evidence_hoursentry;
    reader bigint := public.registry_reader_employer();
BEGIN
    SELECT * INTO about FROM public.evidence_hoursentry WHERE id = entry;
    RETURN about.employer_id = reader
        OR EXISTS (SELECT FROM public.people_account WHERE id = about.recorded_by_id AND employer_id = reader)
        OR EXISTS (
            SELECT FROM public.people_employment employment
            WHERE employment.worker_id = about.worker_id AND employment.employer_id = reader
              AND NOT employment.withdrawn AND said_at < public.registry_reads_until(employment."end")
              AND about.recorded_at < public.registry_reads_until(employment."end")
              AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id))
        OR public.registry_corrects_record_of(reader, 'evidence_hoursentry', about.supersedes_id, true);
END
$$;
