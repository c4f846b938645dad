-- How far recorded_at may lie from the database's clock; null: unchecked, for test databases.
CREATE TABLE IF NOT EXISTS database_policy (
    one_row boolean PRIMARY KEY DEFAULT true CHECK (one_row),
    recorded_at_tolerance interval
);
INSERT INTO database_policy (recorded_at_tolerance) VALUES (interval '10 minutes') ON CONFLICT DO NOTHING;

-- The application cannot back-date what the register learned; the owner can, to bring in old registers.
CREATE OR REPLACE FUNCTION registry_recorded_now() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    tolerance interval;
BEGIN
    SELECT recorded_at_tolerance INTO tolerance FROM public.database_policy;
    IF session_user <> current_user AND tolerance IS NOT NULL
       AND NEW.recorded_at NOT BETWEEN now() - tolerance AND clock_timestamp() + tolerance THEN
        RAISE EXCEPTION 'recorded_at is not the present'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'recorded_at_is_the_present';
    END IF;
    RETURN NEW;
END
$$;
