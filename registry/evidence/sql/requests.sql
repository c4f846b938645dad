-- Requests, objections and answers are about the person they say they are about.

-- Nobody is asked to countersign their own hours, and nobody objects to them.
CREATE OR REPLACE FUNCTION evidence_signer_is_another() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    signer bigint := (to_jsonb(NEW) ->> TG_ARGV[0])::bigint;
BEGIN
    IF EXISTS (SELECT FROM public.evidence_hoursentry WHERE id = NEW.entry_id AND worker_id = signer) THEN
        PERFORM public.registry_refuse('nobody_is_asked_about_their_own_hours');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER signer_is_another BEFORE INSERT ON evidence_countersignaturerequest
    FOR EACH ROW EXECUTE FUNCTION evidence_signer_is_another('of_id');
CREATE OR REPLACE TRIGGER signer_is_another BEFORE INSERT ON evidence_entryobjection
    FOR EACH ROW EXECUTE FUNCTION evidence_signer_is_another('by_id');

-- The table in which a kind of record lies; the kinds are those of a check constraint.
CREATE OR REPLACE FUNCTION evidence_table_of(record_kind text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN record_kind IN ('employment', 'languageskill') THEN 'people_' ELSE 'evidence_' END || record_kind
$$;

CREATE OR REPLACE FUNCTION evidence_request_is_about_the_workers_record() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    owner bigint;
BEGIN
    IF to_regclass('public.' || quote_ident(public.evidence_table_of(NEW.record_kind))) IS NOT NULL THEN
        EXECUTE format('SELECT worker_id FROM public.%I WHERE id = $1', public.evidence_table_of(NEW.record_kind))
            INTO owner USING NEW.record_id;
    END IF;
    IF owner IS DISTINCT FROM NEW.worker_id THEN
        PERFORM public.registry_refuse('correction_request_is_about_the_workers_record');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER is_about_the_workers_record BEFORE INSERT ON evidence_correctionrequest
    FOR EACH ROW EXECUTE FUNCTION evidence_request_is_about_the_workers_record();

-- What answers a request is a correction or withdrawal of that very record, as it was then or as it was corrected since.
CREATE OR REPLACE FUNCTION evidence_answer_is_about_the_same_worker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    asked public.evidence_correctionrequest;
    fits boolean;
BEGIN
    SELECT * INTO asked FROM public.evidence_correctionrequest WHERE id = NEW.request_id;
    EXECUTE format('SELECT worker_id = $2 AND supersedes_id IS NOT NULL AND withdrawn = $3 '
                   'FROM public.%I WHERE id = $1', public.evidence_table_of(asked.record_kind))
        INTO fits USING NEW.new_record_id, asked.worker_id, NEW.outcome = 'withdrawn';
    IF fits IS NOT TRUE THEN
        PERFORM public.registry_refuse('correction_answer_is_about_the_same_worker');
    END IF;
    EXECUTE format('WITH RECURSIVE before (id) AS ('
                   'SELECT supersedes_id FROM public.%1$I WHERE id = $1 UNION '
                   'SELECT supersedes_id FROM public.%1$I JOIN before USING (id)) '
                   'SELECT EXISTS (SELECT FROM before WHERE id = $2)', public.evidence_table_of(asked.record_kind))
        INTO fits USING NEW.new_record_id, asked.record_id;
    IF NOT fits THEN
        PERFORM public.registry_refuse('an_answer_corrects_the_record_asked_about');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER is_about_the_same_worker BEFORE INSERT ON evidence_correctionanswer
    FOR EACH ROW WHEN (NEW.new_record_id IS NOT NULL)
    EXECUTE FUNCTION evidence_answer_is_about_the_same_worker();
