-- Worker numbers, as people read them out.
CREATE SEQUENCE IF NOT EXISTS people_worker_number;

CREATE OR REPLACE FUNCTION people_number_worker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    number text := nextval('public.people_worker_number');
BEGIN
    NEW.number := 'W-' || lpad(number, greatest(6, length(number)), '0');
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER worker_is_numbered BEFORE INSERT ON people_worker
    FOR EACH ROW EXECUTE FUNCTION people_number_worker();
