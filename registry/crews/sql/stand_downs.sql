-- A stand-down names its occasion: a shift or a job on which the firm had the person. Then it bars everywhere; without
-- one it bars at that firm alone. Who is not on the firm's books, or left and did it nothing there, is not the firm's to bar.
CREATE OR REPLACE FUNCTION crews_stand_down_is_the_firms() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    firm bigint;
    today date := (NEW.recorded_at AT TIME ZONE 'UTC')::date;
    began timestamptz;
    ended timestamptz;
BEGIN
    IF public.people_is_the_registrars_word(NEW.recorded_by_id) THEN
        RETURN NEW;
    END IF;
    SELECT employer_id INTO firm FROM public.people_account
    WHERE id = NEW.recorded_by_id AND kind = 'employer' AND is_active;
    IF firm IS NULL THEN
        PERFORM public.registry_refuse('a_stand_down_is_an_employers_or_the_registrars');
    END IF;
    IF NEW.shift_id IS NULL AND NEW.on_assignment IS NULL THEN
        IF NEW.employer_id IS DISTINCT FROM firm THEN
            PERFORM public.registry_refuse('without_an_occasion_it_bars_at_its_firm_alone');
        END IF;
    ELSE
        IF NEW.employer_id IS NOT NULL AND NEW.employer_id <> firm THEN
            PERFORM public.registry_refuse('without_an_occasion_it_bars_at_its_firm_alone');
        END IF;
        SELECT entry.start, entry."end" INTO began, ended
        FROM public.evidence_hoursentry entry
        WHERE entry.id = NEW.shift_id AND entry.worker_id = NEW.worker_id AND entry.employer_id = firm
          AND NOT entry.withdrawn
          AND NOT EXISTS (SELECT FROM public.evidence_hoursentry later WHERE later.supersedes_id = entry.id);
        IF NEW.on_assignment IS NOT NULL THEN
            SELECT lower(state.during), upper(state.during) INTO began, ended
            FROM public.crews_assignmentstate state JOIN public.crews_job job ON job.id = state.job_id
            WHERE state.assignment_id = NEW.on_assignment AND state.worker_id = NEW.worker_id
              AND job.employer_id = firm AND state.standing <> 'ended';
        END IF;
        -- An incident is looked into for weeks, not for years.
        IF began IS NULL OR began > least(NEW.start, NEW.recorded_at) OR ended < NEW.recorded_at - interval '90 days' THEN
            PERFORM public.registry_refuse('the_occasion_is_the_firms_own');
        END IF;
    END IF;
    IF NOT EXISTS (
        SELECT FROM public.people_employment employment
        WHERE employment.worker_id = NEW.worker_id AND employment.employer_id = firm AND NOT employment.withdrawn
          AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id)
          -- A site's day may have begun before that of UTC, or still last.
          AND employment.start <= today + 1
          AND (employment."end" IS NULL OR employment."end" >= today - 1
               OR employment.start <= (began AT TIME ZONE 'UTC')::date + 1
                  AND employment."end" >= (began AT TIME ZONE 'UTC')::date - 1)
    ) THEN
        PERFORM public.registry_refuse('an_employer_records_about_its_own_people');
    END IF;
    RETURN NEW;
END
$$;
