-- Site and standard must belong to the same jurisdiction.
CREATE OR REPLACE FUNCTION crews_job_fits_its_site() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.standards_standardversion v JOIN public.equipment_site s
            ON s.jurisdiction = v.jurisdiction
        WHERE v.key = NEW.standard_key AND s.id = NEW.site_id
    ) THEN
        PERFORM public.registry_refuse('job_standard_is_for_the_sites_jurisdiction');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER job_fits_its_site BEFORE INSERT ON crews_job
    FOR EACH ROW EXECUTE FUNCTION crews_job_fits_its_site();

-- Whoever is put into a place waits for a change of its plan, or the change waits for them, and then ends them.
CREATE OR REPLACE FUNCTION crews_assignment_keeps_its_plan() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.crews_job
    WHERE id = (SELECT job_id FROM public.crews_slot WHERE id = NEW.slot_id)
    FOR SHARE;
    RETURN NEW;
END
$$;

-- Its name comes before that of the guard, which then sees the change.
CREATE OR REPLACE TRIGGER assignment_at_its_plan BEFORE INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_keeps_its_plan();

-- Whoever changes a plan reads its crew behind this lock, so that nobody comes onto it unseen.
CREATE OR REPLACE FUNCTION crews_hold_plan(plan bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.crews_job WHERE id = plan FOR UPDATE;
END
$$;
REVOKE ALL ON FUNCTION crews_hold_plan(bigint) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION crews_hold_plan(bigint) TO registry_application;

-- A job is planned once, and one that was called off is planned anew, not changed.
CREATE OR REPLACE FUNCTION crews_job_is_planned_once() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.crews_job WHERE id = NEW.supersedes_id FOR UPDATE;
    IF EXISTS (SELECT FROM public.crews_job WHERE id = NEW.supersedes_id AND withdrawn) THEN
        PERFORM public.registry_refuse('job_is_current');
    END IF;
    -- Of two presses at once the second waits here, and then sees the first.
    PERFORM FROM public.equipment_crane WHERE id = NEW.crane_id FOR NO KEY UPDATE;
    IF NOT NEW.withdrawn AND EXISTS (
        SELECT FROM public.crews_job same
        WHERE same.employer_id = NEW.employer_id AND same.site_id = NEW.site_id AND same.crane_id = NEW.crane_id
          AND same.operation = NEW.operation AND same.start = NEW.start AND same."end" = NEW."end"
          AND NOT same.withdrawn AND same.id IS DISTINCT FROM NEW.supersedes_id
          AND NOT EXISTS (SELECT FROM public.crews_job later WHERE later.supersedes_id = same.id)
    ) THEN
        PERFORM public.registry_refuse('a_job_is_planned_once');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER job_is_planned_once BEFORE INSERT ON crews_job
    FOR EACH ROW EXECUTE FUNCTION crews_job_is_planned_once();

-- A new plan takes its job's whole time; a job called off keeps who worked on it until then.
CREATE OR REPLACE FUNCTION crews_end_crew_of_plan(plan bigint, called_off boolean, at timestamptz) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT assignment_id, 'ended',
           CASE WHEN called_off THEN greatest(lower(during), date_trunc('minute', at)) ELSE lower(during) END,
           'the job was changed or withdrawn', at
    FROM public.crews_assignmentstate
    WHERE job_id = plan AND standing <> 'ended'
      AND (NOT called_off OR upper(during) > date_trunc('minute', at))
    -- A trainee goes first, since one who is left without the erector would be held.
    ORDER BY role = 'trainee' DESC, assignment_id;
$$;
REVOKE ALL ON FUNCTION crews_end_crew_of_plan(bigint, boolean, timestamptz) FROM PUBLIC;

CREATE OR REPLACE FUNCTION crews_job_change_ends() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.crews_end_crew_of_plan(NEW.supersedes_id, NEW.withdrawn, NEW.recorded_at);
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER job_change_ends AFTER INSERT ON crews_job
    FOR EACH ROW WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION crews_job_change_ends();
