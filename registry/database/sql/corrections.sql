-- A correction is about the same worker, crane or maker as what it corrects, which is no withdrawal.
CREATE OR REPLACE FUNCTION registry_correction_keeps_its_subject() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    subject text := TG_ARGV[0];
    earlier bigint;
    was_withdrawn boolean;
BEGIN
    EXECUTE format('SELECT %I, withdrawn FROM public.%I WHERE id = $1', subject, TG_TABLE_NAME)
        INTO earlier, was_withdrawn USING NEW.supersedes_id;
    IF earlier IS DISTINCT FROM (to_jsonb(NEW) ->> subject)::bigint THEN
        PERFORM public.registry_refuse('correction_keeps_its_subject');
    END IF;
    IF was_withdrawn THEN
        PERFORM public.registry_refuse('withdrawn_record_stays_withdrawn');
    END IF;
    RETURN NEW;
END
$$;
