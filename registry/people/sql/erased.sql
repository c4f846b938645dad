-- Nothing new is recorded about an erased worker. The lock on the worker's row makes this and an
-- erasure, which locks it too, wait for each other.

CREATE OR REPLACE FUNCTION people_worker_is_not_erased() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.people_worker
    WHERE id IN (SELECT worker_id FROM added) ORDER BY id FOR KEY SHARE;
    IF EXISTS (SELECT FROM (SELECT DISTINCT worker_id FROM added) concerned
               JOIN public.ledger_erasure erasure ON erasure.subject = 'worker:' || concerned.worker_id) THEN
        PERFORM public.registry_refuse('nothing_is_recorded_about_an_erased_worker');
    END IF;
    RETURN NULL;
END
$$;
