-- Asked in every statement that reads records, mostly for the register itself: that answer needs no query of its own,
-- and PL/pgSQL keeps its plans.
CREATE OR REPLACE FUNCTION registry_reader() RETURNS text
LANGUAGE plpgsql STABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN coalesce(current_setting('registry.reader', true), '');
END
$$;

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

-- Whether the reader has to do with other people's hours. As a subquery in the policy it was planned anew, four times
-- over, in each statement that reads hours or what was said about them, which took longer than reading them; as a
-- function it is asked only of the few rows that nothing cheaper shows.
CREATE FUNCTION registry_shows_entry(entry bigint) RETURNS boolean
LANGUAGE plpgsql STABLE PARALLEL SAFE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN EXISTS (SELECT FROM public.registry_own_entries own WHERE own.entry_id = entry);
END
$$;
