-- How far recorded_at may lie from the database's clock; null: unchecked, for test databases.
CREATE TABLE IF NOT EXISTS database_policy (
    one_row boolean PRIMARY KEY DEFAULT true CHECK (one_row),
    recorded_at_tolerance interval
);
INSERT INTO database_policy (recorded_at_tolerance) VALUES (interval '10 minutes') ON CONFLICT DO NOTHING;

-- The application cannot back-date what the register learned; the owner can, to bring in old registers. now() would be
-- the start of the transaction, which may have been left open since last week. The argument names the column that
-- says when a row was entered, where that is another than recorded_at.
CREATE OR REPLACE FUNCTION registry_recorded_now() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    tolerance interval;
    entered timestamptz;
BEGIN
    IF TG_NARGS = 0 THEN
        entered := NEW.recorded_at;
    ELSE
        entered := (to_jsonb(NEW) ->> TG_ARGV[0])::timestamptz;
    END IF;
    SELECT recorded_at_tolerance INTO tolerance FROM public.database_policy;
    IF session_user <> current_user AND tolerance IS NOT NULL
       AND entered NOT BETWEEN clock_timestamp() - tolerance AND clock_timestamp() + tolerance THEN
        PERFORM public.registry_refuse('recorded_at_is_the_present');
    END IF;
    RETURN NEW;
END
$$;
