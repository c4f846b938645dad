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

-- Until when an employment opens a record: the end of its last day, wherever on earth. The same line in Python is
-- registry.crews.access.reading_ends.
CREATE FUNCTION registry_reads_until(last_day date) RETURNS timestamptz
LANGUAGE sql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT coalesce((last_day + 1)::timestamp AT TIME ZONE 'UTC' + interval '12 hours', 'infinity'::timestamptz)
$$;

-- The people whose whole record an employer sees: those on its books now, or from a later day on. As a plain NOT EXISTS
-- the planner would join all employments for the few of one employer.
CREATE VIEW registry_own_people AS
    SELECT employment.worker_id FROM people_employment employment
    WHERE employment.employer_id = (SELECT registry_reader_employer()) AND NOT employment.withdrawn
        AND (employment."end" IS NULL OR registry_reads_until(employment."end") > now())
        AND CASE WHEN EXISTS (SELECT FROM people_employment later WHERE later.supersedes_id = employment.id)
            THEN false ELSE true END;

-- Those who left, each with the instant up to which the employer goes on reading what was recorded: worked out once in
-- a statement, so that asking about a row is a look-up, whoever's row it is.
CREATE FUNCTION registry_left_people() RETURNS jsonb
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    reader bigint := public.registry_reader_employer();
BEGIN
    IF reader IS NULL THEN
        RETURN NULL;
    END IF;
    RETURN (
        SELECT jsonb_object_agg(worker_id, until) FROM (
            SELECT employment.worker_id, max(public.registry_reads_until(employment."end")) AS until
            FROM public.people_employment employment
            WHERE employment.employer_id = reader AND NOT employment.withdrawn AND employment."end" IS NOT NULL
              AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id)
            GROUP BY employment.worker_id
        ) AS left_people);
END
$$;

-- What an employer recorded is what its accounts recorded.
CREATE FUNCTION registry_reader_colleagues() RETURNS bigint[]
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN ARRAY(SELECT id FROM public.people_account WHERE employer_id = public.registry_reader_employer());
END
$$;

-- Whether a record takes the place of one that the employer recorded or that names it, however often it was corrected
-- since: who keeps a record keeps what became of it. Naming an employer makes hours and appointments its own; an
-- employment recorded by mistake and corrected to another employer shows the first one nothing.
CREATE FUNCTION registry_corrects_record_of(employer bigint, records name, corrected bigint) RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    before jsonb;
BEGIN
    WHILE employer IS NOT NULL AND corrected IS NOT NULL LOOP
        EXECUTE format('SELECT to_jsonb(each) FROM public.%I each WHERE id = $1', records) INTO before USING corrected;
        IF records IN ('evidence_hoursentry', 'evidence_appointment') AND (before ->> 'employer_id')::bigint = employer OR EXISTS (
            SELECT FROM public.people_account
            WHERE id = (before ->> 'recorded_by_id')::bigint AND employer_id = employer
        ) THEN
            RETURN true;
        END IF;
        corrected := (before ->> 'supersedes_id')::bigint;
    END LOOP;
    RETURN false;
END
$$;

-- Whether an employer reads what somebody said of an entry at that instant: of its own entries all, of its people's
-- what was recorded in their time.
CREATE FUNCTION registry_shows_remark(entry bigint, said_at timestamptz) RETURNS boolean
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
        OR public.registry_corrects_record_of(reader, 'evidence_hoursentry', about.supersedes_id);
END
$$;

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

CREATE VIEW registry_own_employments AS
    SELECT id AS employment_id FROM people_employment WHERE employer_id = (SELECT registry_reader_employer());

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
        'registry_own_people', 'registry_own_employments', 'registry_own_entries', 'registry_given_assessments',
        'registry_own_appointments', 'registry_assessed_employers', 'registry_assessed_employments',
        'registry_opened_links'
    ] LOOP
        EXECUTE format('GRANT SELECT ON %I TO registry_application', view_name);
    END LOOP;
END
$$;
