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

-- The people whose whole record an employer sees: those on its books, on whatever day. As a plain NOT EXISTS the
-- planner would join all employments for the few of one employer.
CREATE OR REPLACE VIEW registry_own_people AS
    SELECT employment.worker_id FROM people_employment employment
    WHERE employment.employer_id = (SELECT registry_reader_employer()) AND NOT employment.withdrawn
        AND CASE WHEN EXISTS (SELECT FROM people_employment later WHERE later.supersedes_id = employment.id)
            THEN false ELSE true END;
GRANT SELECT ON registry_own_people TO registry_application;
