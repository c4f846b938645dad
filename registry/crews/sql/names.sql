-- Whoever is said to have put somebody into a position asked for the decision it rests on: the sealed statement names
-- the account, which is open and of the job's employer. A decision serves once, and only while it is fresh.
CREATE OR REPLACE FUNCTION crews_require_asker(decision bigint, slot bigint, account bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    given public.crews_decision;
    tolerance interval;
BEGIN
    SELECT * INTO given FROM public.crews_decision WHERE id = decision;
    IF given.decided_by_id IS DISTINCT FROM account THEN
        PERFORM public.registry_refuse('a_decision_serves_whoever_asked_for_it');
    END IF;
    PERFORM public.crews_require_of_employer(slot, account);
    SELECT recorded_at_tolerance INTO tolerance FROM public.database_policy;
    IF given.decided_at NOT BETWEEN clock_timestamp() - tolerance AND clock_timestamp() + tolerance THEN
        PERFORM public.registry_refuse('a_decision_serves_while_it_is_fresh');
    END IF;
END
$$;

-- An employer's crew is its own accounts' to change.
CREATE OR REPLACE FUNCTION crews_require_of_employer(slot bigint, account bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF account IS NOT NULL AND NOT EXISTS (
        SELECT FROM public.people_account named
        JOIN public.crews_job job ON job.employer_id = named.employer_id
        JOIN public.crews_slot place ON place.job_id = job.id
        WHERE named.id = account AND named.is_active AND named.kind = 'employer' AND place.id = slot
    ) THEN
        PERFORM public.registry_refuse('a_crew_is_its_employers_to_change');
    END IF;
END
$$;
REVOKE ALL ON FUNCTION crews_require_asker(bigint, bigint, bigint) FROM PUBLIC;
REVOKE ALL ON FUNCTION crews_require_of_employer(bigint, bigint) FROM PUBLIC;

CREATE OR REPLACE FUNCTION crews_assignment_names_who_asked() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.crews_require_asker(NEW.decision_id, NEW.slot_id, NEW.assigned_by_id);
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_who_asked BEFORE INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_names_who_asked();

CREATE OR REPLACE FUNCTION crews_refusal_names_who_asked() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.crews_require_asker(NEW.decision_id, NEW.slot_id, NEW.refused_to_id);
    IF NOT EXISTS (
        SELECT FROM public.crews_decision given
        JOIN public.crews_slot place ON place.id = NEW.slot_id AND place.role = given.role
        JOIN public.crews_job job ON job.id = place.job_id AND job.employer_id = given.employer_id
        WHERE given.id = NEW.decision_id AND given.outcome = 'refused'
    ) THEN
        PERFORM public.registry_refuse('decision_answers_this_question');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_who_asked BEFORE INSERT ON crews_refusal
    FOR EACH ROW EXECUTE FUNCTION crews_refusal_names_who_asked();

-- A person's time in a position ends in somebody's name, where it began in somebody's. What puts an assignment on hold,
-- and what ends it with its plan, are triggers; nobody says it for them.
CREATE OR REPLACE FUNCTION crews_event_names_who_acts() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    made public.crews_assignment;
BEGIN
    SELECT * INTO made FROM public.crews_assignment WHERE id = NEW.assignment_id;
    IF NEW.kind = 'confirmed' THEN
        PERFORM public.crews_require_asker(NEW.decision_id, made.slot_id, NEW.recorded_by_id);
        RETURN NEW;
    END IF;
    -- At depth 1 the row was written by hand, not by another trigger.
    IF pg_trigger_depth() = 1 AND (NEW.kind = 'held' OR NEW.recorded_by_id IS NULL AND made.assigned_by_id IS NOT NULL)
    THEN
        PERFORM public.registry_refuse('a_crew_is_its_employers_to_change');
    END IF;
    PERFORM public.crews_require_of_employer(made.slot_id, NEW.recorded_by_id);
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_who_acts BEFORE INSERT ON crews_assignmentevent
    FOR EACH ROW EXECUTE FUNCTION crews_event_names_who_acts();

-- A job is planned, changed and called off by an account of its employer, which stays the same.
CREATE OR REPLACE FUNCTION crews_job_names_its_planner() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF EXISTS (SELECT FROM public.crews_job before
               WHERE before.id = NEW.supersedes_id
                 AND (before.employer_id <> NEW.employer_id
                      OR before.recorded_by_id IS NOT NULL AND NEW.recorded_by_id IS NULL))
       OR NEW.recorded_by_id IS NOT NULL AND NOT EXISTS (
           SELECT FROM public.people_account named
           WHERE named.id = NEW.recorded_by_id AND named.is_active AND named.kind = 'employer'
             AND named.employer_id = NEW.employer_id)
    THEN
        PERFORM public.registry_refuse('a_job_is_its_employers_to_plan');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_its_planner BEFORE INSERT ON crews_job
    FOR EACH ROW EXECUTE FUNCTION crews_job_names_its_planner();
