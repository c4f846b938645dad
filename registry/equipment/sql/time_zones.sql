-- PostgreSQL reads a file for each zone it knows whenever it lists them, which takes longer than all else that is
-- done to register a site. The names are kept; one that came with a newer PostgreSQL is still looked up there.
CREATE TABLE IF NOT EXISTS equipment_time_zone (name text PRIMARY KEY);
INSERT INTO equipment_time_zone SELECT name FROM pg_timezone_names ON CONFLICT DO NOTHING;

CREATE OR REPLACE FUNCTION equipment_time_zone_is_known() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM public.equipment_time_zone WHERE name = NEW.time_zone) THEN
        IF NOT EXISTS (SELECT FROM pg_timezone_names WHERE name = NEW.time_zone) THEN
            PERFORM public.registry_refuse('site_time_zone_is_known');
        END IF;
    END IF;
    -- A name that was known may be gone where the database came from a dump.
    PERFORM now() AT TIME ZONE NEW.time_zone;
    RETURN NEW;
EXCEPTION WHEN invalid_parameter_value THEN
    PERFORM public.registry_refuse('site_time_zone_is_known');
END
$$;
CREATE OR REPLACE TRIGGER time_zone_is_known BEFORE INSERT ON equipment_site
    FOR EACH ROW EXECUTE FUNCTION equipment_time_zone_is_known();
