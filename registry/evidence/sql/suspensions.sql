-- A stand-down is suspended by the registrar, who is nobody's rival and needs no place filled.
CREATE OR REPLACE FUNCTION evidence_suspension_is_the_registrars() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_the_registrars_word(NEW.recorded_by_id) THEN
        PERFORM public.registry_refuse('only_the_registrar_suspends_a_stand_down');
    END IF;
    IF NOT EXISTS (SELECT FROM public.evidence_standdown
                   WHERE id = NEW.stand_down_id AND worker_id = NEW.worker_id) THEN
        PERFORM public.registry_refuse('reference_is_to_the_same_worker');
    END IF;
    RETURN NEW;
END
$$;
