-- Records of a notice are never changed, stay with the job or the plans that replace it, and a notice is what its
-- SHA-256 says when it is recorded. A lawful erasure later blanks a supervisor within it; the SHA-256 stays.
CREATE OR REPLACE FUNCTION notices_record_stays_with_its_job() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    earlier bigint;
BEGIN
    EXECUTE format('SELECT job_id FROM public.%I WHERE id = $1', TG_TABLE_NAME) INTO earlier USING NEW.supersedes_id;
    IF NOT EXISTS (
        WITH RECURSIVE plans (id) AS (
            SELECT NEW.job_id
            UNION
            SELECT job.supersedes_id FROM public.crews_job job JOIN plans ON plans.id = job.id
            WHERE job.supersedes_id IS NOT NULL)
        SELECT FROM plans WHERE id = earlier
    ) THEN
        PERFORM public.registry_refuse('notice_record_stays_with_its_job');
    END IF;
    RETURN NEW;
END
$$;

CREATE OR REPLACE FUNCTION notices_notice_matches_its_sha256() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF encode(sha256(convert_to(NEW.content, 'UTF8')), 'hex') <> NEW.sha256 THEN
        PERFORM public.registry_refuse('notice_matches_its_sha256');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER matches_its_sha256 BEFORE INSERT ON notices_sentnotice
    FOR EACH ROW EXECUTE FUNCTION notices_notice_matches_its_sha256();
