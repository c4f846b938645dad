-- A worker shares their own record with their own account, nobody shares it for them, and nobody else ends it.
CREATE OR REPLACE FUNCTION transcripts_link_is_the_workers_own() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    owner bigint;
BEGIN
    IF TG_TABLE_NAME = 'transcripts_sharedlink' THEN
        owner := NEW.worker_id;
    ELSE
        SELECT worker_id INTO owner FROM public.transcripts_sharedlink
        WHERE id = NEW.link_id AND recorded_at <= NEW.recorded_at;
        IF owner IS NULL THEN
            PERFORM public.registry_refuse('a_link_ends_after_it_was_made');
        END IF;
    END IF;
    IF NOT EXISTS (SELECT FROM public.people_account WHERE id = NEW.recorded_by_id AND worker_id = owner) THEN
        PERFORM public.registry_refuse('a_link_is_made_and_ended_by_its_worker');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER is_the_workers_own BEFORE INSERT ON transcripts_sharedlink
    FOR EACH ROW EXECUTE FUNCTION transcripts_link_is_the_workers_own();
CREATE OR REPLACE TRIGGER is_the_workers_own BEFORE INSERT ON transcripts_endedlink
    FOR EACH ROW EXECUTE FUNCTION transcripts_link_is_the_workers_own();

-- A look through a link that has run out, was ended or shows an erased person cannot be recorded, and what
-- cannot be recorded is not shown.
CREATE OR REPLACE FUNCTION transcripts_link_is_open() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.transcripts_sharedlink link
        WHERE link.id = NEW.link_id AND link.recorded_at <= NEW.recorded_at AND NEW.recorded_at < link.expires_at
          AND NOT EXISTS (SELECT FROM public.transcripts_endedlink WHERE link_id = link.id)
          AND NOT EXISTS (SELECT FROM public.ledger_erasure WHERE subject = 'worker:' || link.worker_id)
    ) THEN
        PERFORM public.registry_refuse('only_an_open_link_is_looked_through');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER is_open BEFORE INSERT ON transcripts_linkopening
    FOR EACH ROW EXECUTE FUNCTION transcripts_link_is_open();

CREATE OR REPLACE VIEW registry_opened_links AS
    SELECT link_id FROM transcripts_linkopening WHERE recorded_by_id = (SELECT registry_reader_account());
GRANT SELECT ON registry_opened_links TO registry_application;
