-- Numbers for workers: W-000001, W-000002, ...
CREATE SEQUENCE people_worker_number;

-- The next number; the application may draw one but not set the sequence back.
CREATE FUNCTION people_next_worker_number() RETURNS text
LANGUAGE sql VOLATILE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT 'W-' || lpad(drawn::text, greatest(6, length(drawn::text)), '0')
    FROM nextval('public.people_worker_number') AS drawn
$$;
