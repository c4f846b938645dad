-- Which columns a lawful erasure may blank, by table; every other column stays as it was recorded.
CREATE TABLE IF NOT EXISTS registry_erasable (
    table_name name PRIMARY KEY,
    columns text[] NOT NULL CHECK (cardinality(columns) > 0)
);
REVOKE ALL ON registry_erasable FROM registry_application;

-- Records are append-only. One thing gets through: the owner of the table, within a lawful erasure,
-- blanks columns that hold personal data and nothing else. session_user is who signed in, so no
-- function that runs with the owner's rights opens this to the application.
CREATE OR REPLACE FUNCTION registry_refuse_change() RETURNS trigger LANGUAGE plpgsql
SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    erasable text[];
BEGIN
    IF TG_OP = 'UPDATE' AND current_setting('registry.erasing', true) = 'on'
       AND pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'MEMBER') THEN
        SELECT columns INTO erasable FROM public.registry_erasable WHERE table_name = TG_TABLE_NAME;
        IF to_jsonb(NEW) - erasable = to_jsonb(OLD) - erasable THEN
            RETURN NEW;
        END IF;
    END IF;
    PERFORM public.registry_refuse('records_are_never_changed');
END
$$;
