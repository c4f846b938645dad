CREATE OR REPLACE FUNCTION crews_assignment_stands() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentstate
        (assignment_id, slot_id, job_id, worker_id, role, supervises, decision_id, during, standing,
         reason)
    SELECT NEW.id, NEW.slot_id, s.job_id, NEW.worker_id, s.role,
           (s.role = 'erection_supervisor')::int, NEW.decision_id,
           tstzrange(NEW.start, NEW."end"), 'standing', ''
    FROM public.crews_slot s WHERE s.id = NEW.slot_id;
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER assignment_stands AFTER INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_stands();

CREATE OR REPLACE FUNCTION crews_event_is_allowed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    held public.crews_assignment;
    state public.crews_assignmentstate;
BEGIN
    SELECT * INTO held FROM public.crews_assignment WHERE id = NEW.assignment_id;
    SELECT * INTO state FROM public.crews_assignmentstate
    WHERE assignment_id = NEW.assignment_id FOR UPDATE;
    IF state.standing = 'ended' THEN
        PERFORM public.registry_refuse('an_ended_assignment_stays_ended');
    END IF;
    IF NEW.kind = 'confirmed' THEN
        PERFORM public.crews_require_decision(
            NEW.decision_id, held.slot_id, held.worker_id, lower(state.during),
            upper(state.during));
        IF state.role = 'trainee' THEN
            PERFORM public.crews_require_pair(
                held.paired_with_id, held.slot_id, held.worker_id, state.during);
        END IF;
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER event_is_allowed BEFORE INSERT ON crews_assignmentevent
    FOR EACH ROW EXECUTE FUNCTION crews_event_is_allowed();

-- What lies outside the time of the work and of the assignment is a slip, before it and after it.
CREATE OR REPLACE FUNCTION crews_leaving_follows_the_assignment() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF EXISTS (
        SELECT FROM public.crews_assignment assignment
        WHERE assignment.id = NEW.assignment_id
          -- Leaving is told in whole minutes.
          AND NEW.happened_at < least(assignment.start, date_trunc('minute', assignment.assigned_at))
    ) THEN
        PERFORM public.registry_refuse('nobody_leaves_before_they_were_put_in');
    END IF;
    IF EXISTS (
        SELECT FROM public.crews_assignmentstate state
        WHERE state.assignment_id = NEW.assignment_id AND NEW.happened_at >= upper(state.during)
    ) THEN
        PERFORM public.registry_refuse('nobody_leaves_after_their_time');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER leaving_follows_the_assignment BEFORE INSERT ON crews_assignmentevent
    FOR EACH ROW WHEN (NEW.kind = 'ended') EXECUTE FUNCTION crews_leaving_follows_the_assignment();

-- The present standing follows the events.
CREATE OR REPLACE FUNCTION crews_state_follows_event() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.kind = 'held' THEN
        UPDATE public.crews_assignmentstate SET standing = 'held', reason = NEW.reason
        WHERE assignment_id = NEW.assignment_id;
    ELSIF NEW.kind = 'confirmed' THEN
        UPDATE public.crews_assignmentstate
        SET standing = 'standing', reason = '', decision_id = NEW.decision_id
        WHERE assignment_id = NEW.assignment_id;
    ELSIF EXISTS (
        SELECT FROM public.crews_assignmentstate
        WHERE assignment_id = NEW.assignment_id AND NEW.happened_at <= lower(during)
    ) THEN
        UPDATE public.crews_assignmentstate SET standing = 'ended', reason = NEW.reason
        WHERE assignment_id = NEW.assignment_id;
    ELSE
        UPDATE public.crews_assignmentstate
        SET during = tstzrange(lower(during), least(upper(during), NEW.happened_at)),
            reason = NEW.reason
        WHERE assignment_id = NEW.assignment_id;
    END IF;
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER state_follows_event AFTER INSERT ON crews_assignmentevent
    FOR EACH ROW EXECUTE FUNCTION crews_state_follows_event();

-- When anything a standing assignment rests on changes, the assignment is held.
-- Assignments whose window is over are history and stay as they were.
CREATE OR REPLACE FUNCTION crews_hold_affected() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        PERFORM public.registry_refuse('assignment_sees_concurrent_changes');
    END IF;
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT state.assignment_id, 'held', clock_timestamp(), 'the evidence of ' || NEW.subject || ' changed',
           clock_timestamp()
    FROM public.crews_decisiondependency dependency
    JOIN public.crews_assignmentstate state ON state.decision_id = dependency.decision_id
    WHERE dependency.subject = NEW.subject AND dependency.version <> NEW.version
      AND state.standing = 'standing' AND upper(state.during) > clock_timestamp()
    ORDER BY state.assignment_id;
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER hold_affected AFTER INSERT OR UPDATE ON evidence_evidenceversion
    FOR EACH ROW EXECUTE FUNCTION crews_hold_affected();

-- A trainee does not stay without the erector: when that one is held or leaves, the trainee is held.
CREATE OR REPLACE FUNCTION crews_trainee_follows_erector() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT trainee.assignment_id, 'held', clock_timestamp(), 'the paired erector is held or leaves',
           clock_timestamp()
    FROM public.crews_assignment a
    JOIN public.crews_assignmentstate trainee ON trainee.assignment_id = a.id
    WHERE a.paired_with_id = NEW.assignment_id AND trainee.standing = 'standing'
      AND upper(trainee.during) > clock_timestamp()
      AND (NEW.standing <> 'standing' OR NOT NEW.during @> trainee.during)
    ORDER BY trainee.assignment_id;
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER trainee_follows_erector AFTER UPDATE ON crews_assignmentstate
    FOR EACH ROW EXECUTE FUNCTION crews_trainee_follows_erector();
