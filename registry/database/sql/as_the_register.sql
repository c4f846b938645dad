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
