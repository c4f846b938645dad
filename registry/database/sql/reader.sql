-- Asked in every statement that reads records, mostly for the register itself: that answer needs no query of its own,
-- and PL/pgSQL keeps its plans.
CREATE OR REPLACE FUNCTION registry_reader() RETURNS text
LANGUAGE plpgsql STABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RETURN coalesce(current_setting('registry.reader', true), '');
END
$$;

CREATE OR REPLACE FUNCTION registry_reader_account() RETURNS bigint
LANGUAGE sql STABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT substring(public.registry_reader() FROM '^account:([0-9]{1,18})$')::bigint
$$;
