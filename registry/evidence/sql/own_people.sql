-- An employer records about its own people: those on its books now, and of those who left what lies in their time.
-- What becomes of a certificate reaches on for ever: whoever has left is no longer theirs to bar. Stand-downs have a
-- rule of their own, which knows of jobs.
CREATE OR REPLACE FUNCTION evidence_employer_records_about_its_own() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    recorder bigint;
    own_day date := left(to_jsonb(NEW) ->> TG_ARGV[0], 10)::date;
    today date := (NEW.recorded_at AT TIME ZONE 'UTC')::date;
    day_before date;
BEGIN
    IF NEW.supersedes_id IS NOT NULL THEN
        -- Whose record it is to correct is asked elsewhere; here, that it is not moved out of their time.
        EXECUTE format('SELECT left(to_jsonb(each) ->> $2, 10)::date FROM public.%I each WHERE id = $1', TG_TABLE_NAME)
            INTO day_before USING NEW.supersedes_id, TG_ARGV[0];
        IF TG_ARGV[0] = 'recorded_at' OR day_before = own_day THEN
            RETURN NEW;
        END IF;
    END IF;
    SELECT employer_id INTO recorder FROM public.people_account WHERE id = NEW.recorded_by_id AND kind = 'employer';
    IF recorder IS NOT NULL AND NOT EXISTS (
        SELECT FROM public.people_employment employment
        WHERE employment.worker_id = NEW.worker_id AND employment.employer_id = recorder
          AND NOT employment.withdrawn
          -- A site's day may have begun before that of UTC, or still last. Whoever is still to come brings papers.
          AND (employment."end" IS NULL OR employment."end" >= today - 1
               OR employment.start <= own_day + 1 AND employment."end" >= own_day - 1)
          AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id)
    ) THEN
        PERFORM public.registry_refuse('an_employer_records_about_its_own_people');
    END IF;
    RETURN NEW;
END
$$;
