CREATE OR REPLACE FUNCTION registry_reads_everything() RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF public.registry_reader() = '' THEN
        RETURN true;
    END IF;
    RETURN EXISTS (
        SELECT FROM public.people_account
        WHERE id = public.registry_reader_account() AND kind IN ('inspector', 'registrar'));
END
$$;

CREATE OR REPLACE FUNCTION registry_reader_worker() RETURNS bigint
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN (SELECT worker_id FROM public.people_account
            WHERE id = public.registry_reader_account() AND kind = 'worker');
END
$$;

CREATE OR REPLACE FUNCTION registry_reader_employer() RETURNS bigint
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN (SELECT employer_id FROM public.people_account
            WHERE id = public.registry_reader_account() AND kind = 'employer');
END
$$;

-- What policies look up. A view reads with its owner's rights, so that no policy asks another one in a circle;

-- each shows only what belongs to the reader. Being views, and no functions that return rows, they let the planner
-- choose between looking up one row and reading all of them once.

-- Until when an employment opens a record: the end of its last day, wherever on earth. The same line in Python is
-- registry.crews.access.reading_ends.
CREATE OR REPLACE FUNCTION registry_reads_until(last_day date) RETURNS timestamptz
LANGUAGE sql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT coalesce((last_day + 1)::timestamp AT TIME ZONE 'UTC' + interval '12 hours', 'infinity'::timestamptz)
$$;

-- The people whose whole record an employer sees: those on its books now, or from a later day on. As a plain NOT EXISTS
-- the planner would join all employments for the few of one employer.
CREATE OR REPLACE VIEW registry_own_people AS
    SELECT employment.worker_id FROM people_employment employment
    WHERE employment.employer_id = (SELECT registry_reader_employer()) AND NOT employment.withdrawn
        AND (employment."end" IS NULL OR registry_reads_until(employment."end") > now())
        AND CASE WHEN EXISTS (SELECT FROM people_employment later WHERE later.supersedes_id = employment.id)
            THEN false ELSE true END;

-- Those who left, each with the instant up to which the employer goes on reading what was recorded: worked out once in
-- a statement, so that asking about a row is a look-up, whoever's row it is.
CREATE OR REPLACE FUNCTION registry_left_people() RETURNS jsonb
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
CREATE OR REPLACE FUNCTION registry_reader_colleagues() RETURNS bigint[]
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN ARRAY(SELECT id FROM public.people_account WHERE employer_id = public.registry_reader_employer());
END
$$;

-- Whether a record takes the place of one that the employer recorded or that names it, however often it was corrected
-- since: who keeps a record keeps what became of it. Where ``named``, it is enough that the record names the employer:
-- an employment recorded by mistake, and corrected to another employer, shows the first one nothing.
CREATE OR REPLACE FUNCTION registry_corrects_record_of(
    employer bigint, records name, corrected bigint, named boolean
) RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    before jsonb;
BEGIN
    WHILE employer IS NOT NULL AND corrected IS NOT NULL LOOP
        EXECUTE format('SELECT to_jsonb(each) FROM public.%I each WHERE id = $1', records) INTO before USING corrected;
        IF named AND (before ->> 'employer_id')::bigint = employer OR EXISTS (
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

CREATE OR REPLACE VIEW registry_own_employments AS
    SELECT id AS employment_id FROM people_employment WHERE employer_id = (SELECT registry_reader_employer());
GRANT SELECT ON registry_own_people, registry_own_employments TO registry_application;
