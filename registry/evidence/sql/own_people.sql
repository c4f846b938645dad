-- The employer that answers for a record: the one it names, or whose account recorded its first version; null where
-- neither says one. As registry.evidence.corrections.employer_answerable_for, which goes on to ask who had the person.
CREATE OR REPLACE FUNCTION evidence_answers_for(records name, record jsonb) RETURNS bigint
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF record ->> 'employer_id' IS NOT NULL THEN
        RETURN (record ->> 'employer_id')::bigint;
    END IF;
    WHILE record ->> 'supersedes_id' IS NOT NULL LOOP
        EXECUTE format('SELECT to_jsonb(each) FROM public.%I each WHERE id = $1', records)
            INTO record USING (record ->> 'supersedes_id')::bigint;
    END LOOP;
    RETURN (SELECT employer_id FROM public.people_account WHERE id = (record ->> 'recorded_by_id')::bigint);
END
$$;

-- An employer records about its own people: those on its books now, and of those who left what lies in their time.
-- What becomes of a certificate reaches on for ever: whoever has left is no longer theirs to bar. Stand-downs have a
-- rule of their own, which knows of jobs.
CREATE OR REPLACE FUNCTION evidence_employer_records_about_its_own() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    recorder bigint;
    own_day date := left(to_jsonb(NEW) ->> TG_ARGV[0], 10)::date;
    today date := (NEW.recorded_at AT TIME ZONE 'UTC')::date;
    before jsonb;
    answerable bigint;
BEGIN
    SELECT employer_id INTO recorder FROM public.people_account WHERE id = NEW.recorded_by_id AND kind = 'employer';
    IF NEW.supersedes_id IS NOT NULL THEN
        EXECUTE format('SELECT to_jsonb(each) FROM public.%I each WHERE id = $1', TG_TABLE_NAME)
            INTO before USING NEW.supersedes_id;
        answerable := public.evidence_answers_for(TG_TABLE_NAME, before);
        IF recorder <> answerable THEN
            PERFORM public.registry_refuse('an_employer_corrects_its_own_records');
        END IF;
        -- It is not moved out of their time either.
        IF TG_ARGV[0] = 'recorded_at' OR left(before ->> TG_ARGV[0], 10)::date = own_day THEN
            RETURN NEW;
        END IF;
    END IF;
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
