-- Nobody countersigns their own hours, or work that is not done yet.
CREATE OR REPLACE FUNCTION evidence_countersignature_is_anothers() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    entry public.evidence_hoursentry;
BEGIN
    SELECT * INTO entry FROM public.evidence_hoursentry WHERE id = NEW.entry_id;
    IF entry.worker_id = NEW.by_id THEN
        PERFORM public.registry_refuse('nobody_countersigns_their_own_hours');
    END IF;
    IF NEW.at < entry."end" THEN
        PERFORM public.registry_refuse('countersignature_follows_the_work');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER countersignature_is_anothers BEFORE INSERT ON evidence_countersignature
    FOR EACH ROW EXECUTE FUNCTION evidence_countersignature_is_anothers();

-- A status and a retraining belong to the worker whose certificate or stand-down it is.
CREATE OR REPLACE FUNCTION evidence_reference_is_the_workers() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    owner bigint;
BEGIN
    IF TG_TABLE_NAME = 'evidence_certificationstatus' THEN
        SELECT worker_id INTO owner FROM public.evidence_certification WHERE id = NEW.certification_id;
    ELSE
        SELECT worker_id INTO owner FROM public.evidence_standdown WHERE id = NEW.after_stand_down_id;
    END IF;
    IF owner IS DISTINCT FROM NEW.worker_id THEN
        PERFORM public.registry_refuse('reference_is_to_the_same_worker');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER status_is_the_workers BEFORE INSERT ON evidence_certificationstatus
    FOR EACH ROW EXECUTE FUNCTION evidence_reference_is_the_workers();
CREATE OR REPLACE TRIGGER retraining_is_the_workers BEFORE INSERT ON evidence_instruction
    FOR EACH ROW WHEN (NEW.after_stand_down_id IS NOT NULL)
    EXECUTE FUNCTION evidence_reference_is_the_workers();

-- A new document is what its size and SHA-256 say; only a lawful erasure leaves one without content.
CREATE OR REPLACE FUNCTION evidence_document_is_whole() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF length(NEW.content) <> NEW.size THEN
        PERFORM public.registry_refuse('document_size_is_that_of_its_content');
    END IF;
    IF encode(sha256(NEW.content), 'hex') <> NEW.sha256 THEN
        PERFORM public.registry_refuse('document_matches_its_sha256');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER document_is_whole BEFORE INSERT ON evidence_document
    FOR EACH ROW EXECUTE FUNCTION evidence_document_is_whole();

-- Work is recorded in whole minutes, on a crane of the model it is recorded for.
DO $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_constraint WHERE conname = 'hours_are_in_whole_minutes') THEN
        ALTER TABLE evidence_hoursentry ADD CONSTRAINT hours_are_in_whole_minutes CHECK (
            extract(epoch FROM start) % 60 = 0 AND extract(epoch FROM "end") % 60 = 0);
        ALTER TABLE equipment_crane ADD CONSTRAINT crane_and_its_model UNIQUE (id, model_id);
        ALTER TABLE evidence_hoursentry ADD CONSTRAINT crane_is_of_the_model
            FOREIGN KEY (crane_id, model_id) REFERENCES equipment_crane (id, model_id)
            DEFERRABLE INITIALLY DEFERRED;
    END IF;
END
$$;

-- Two recordings of one worker's hours wait for each other, until the transaction ends: each sees what the day holds
-- already. The rows of the workers are locked, and no more than those: people of another employer are nobody's to wait
-- for, and a table of thousands takes none of the server's few other locks.
CREATE OR REPLACE FUNCTION evidence_lock_days_of(workers bigint[]) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.people_worker WHERE id = ANY (workers) ORDER BY id FOR NO KEY UPDATE;
END
$$;
