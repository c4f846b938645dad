-- The key material that checks a decision's seal. Only the owner can read it.
CREATE TABLE crews_sealing_key (
    inner_block bytea PRIMARY KEY CHECK (length(inner_block) = 64),
    outer_block bytea NOT NULL CHECK (length(outer_block) = 64)
);

-- A decision is what its sealed statement says, column by column.
CREATE FUNCTION crews_decision_is_sealed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    said jsonb;
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.crews_sealing_key
        WHERE sha256(outer_block || sha256(inner_block || convert_to(NEW.statement, 'UTF8')))
              = NEW.seal
    ) THEN
        RAISE EXCEPTION 'a decision must carry the engine''s seal'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'decision_carries_the_engines_seal';
    END IF;
    said := NEW.statement::jsonb;
    NEW.worker_id := (said ->> 'worker')::bigint;
    NEW.role := said ->> 'role';
    NEW.model_id := (said ->> 'model')::bigint;
    NEW.configuration := said ->> 'configuration';
    NEW.operation := said ->> 'operation';
    NEW.employer_id := (said ->> 'employer')::bigint;
    NEW.jurisdiction := said ->> 'jurisdiction';
    NEW.start := (said ->> 'start')::timestamptz;
    NEW."end" := (said ->> 'end')::timestamptz;
    NEW.known_at := (said ->> 'known_at')::timestamptz;
    NEW.outcome := said ->> 'outcome';
    NEW.holds_until := (said ->> 'holds_until')::timestamptz;
    NEW.standard_id := (said ->> 'standard')::bigint;
    NEW.evidence_versions := said -> 'evidence_versions';
    NEW.decided_at := (said ->> 'decided_at')::timestamptz;
    NEW.decided_by_id := (said ->> 'decided_by')::bigint;
    RETURN NEW;
END
$$;
CREATE TRIGGER decision_is_sealed BEFORE INSERT ON crews_decision
    FOR EACH ROW EXECUTE FUNCTION crews_decision_is_sealed();

-- The versions a decision was computed on become rows, so that a change finds it.
CREATE FUNCTION crews_decision_dependencies() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_decisiondependency (decision_id, subject, version)
    SELECT NEW.id, key, value::bigint FROM jsonb_each_text(NEW.evidence_versions);
    RETURN NULL;
END
$$;
CREATE TRIGGER decision_dependencies AFTER INSERT ON crews_decision
    FOR EACH ROW EXECUTE FUNCTION crews_decision_dependencies();

-- Whether a decision still rests on current evidence; locks what it rests on.
-- A concurrent change either committed before (and is seen here) or waits for
-- this transaction and then finds, and holds, the assignment made in it.
CREATE FUNCTION crews_require_current(decision bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    dependency record;
    current_version bigint;
BEGIN
    -- Under a stricter isolation an older snapshot would hide concurrent changes.
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        RAISE EXCEPTION 'assignments are made in read-committed transactions'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'assignment_sees_concurrent_changes';
    END IF;
    -- A subject that never changed gets its row now, so that there is one to lock.
    INSERT INTO public.evidence_evidenceversion (subject, version)
    SELECT subject, 0 FROM public.crews_decisiondependency
    WHERE decision_id = decision AND version = 0 ORDER BY subject COLLATE "C"
    ON CONFLICT DO NOTHING;
    FOR dependency IN
        SELECT subject, version FROM public.crews_decisiondependency
        WHERE decision_id = decision ORDER BY subject COLLATE "C"
    LOOP
        SELECT version INTO current_version FROM public.evidence_evidenceversion
        WHERE subject = dependency.subject FOR SHARE;
        IF coalesce(current_version, 0) <> dependency.version THEN
            RAISE EXCEPTION 'the evidence of % has changed since the decision', dependency.subject
                USING ERRCODE = 'check_violation',
                      CONSTRAINT = 'decision_rests_on_current_evidence';
        END IF;
    END LOOP;
END
$$;

-- The heart of the guard: the decision is permitted, for exactly this person,
-- role, model, operation, employer and window, on current evidence and by the
-- standard version in force.
-- Replaced by confirmed_as_assigned.sql.
CREATE FUNCTION crews_require_decision(
    decision bigint, slot bigint, worker bigint, starts timestamptz, ends timestamptz
) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    given public.crews_decision;
    asked record;
BEGIN
    SELECT * INTO given FROM public.crews_decision WHERE id = decision;
    SELECT s.role, j.id AS job, j.operation, j.configuration, j.employer_id, j.standard_key,
           j.start, j."end", j.withdrawn, c.model_id, si.jurisdiction, si.time_zone,
           EXISTS (SELECT FROM public.crews_job later WHERE later.supersedes_id = j.id) AS superseded
    INTO asked
    FROM public.crews_slot s
    JOIN public.crews_job j ON j.id = s.job_id
    JOIN public.equipment_crane c ON c.id = j.crane_id
    JOIN public.equipment_site si ON si.id = j.site_id
    WHERE s.id = slot;
    IF given.outcome IS DISTINCT FROM 'permitted' OR given.known_at IS NOT NULL THEN
        RAISE EXCEPTION 'the decision does not permit this'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'assignment_needs_a_permitted_decision';
    END IF;
    IF (given.worker_id, given.role, given.model_id, given.configuration, given.operation,
        given.employer_id, given.jurisdiction, given.start, given."end")
       IS DISTINCT FROM
       (worker, asked.role::text, asked.model_id, asked.configuration::text, asked.operation::text,
        asked.employer_id, asked.jurisdiction::text, starts, ends) THEN
        RAISE EXCEPTION 'the decision answers another question'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'decision_answers_this_question';
    END IF;
    IF asked.superseded OR asked.withdrawn THEN
        RAISE EXCEPTION 'the job has been changed or withdrawn'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'job_is_current';
    END IF;
    IF starts < asked.start OR ends > asked."end" THEN
        RAISE EXCEPTION 'the assignment leaves the job''s window'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'assignment_lies_within_the_job';
    END IF;
    IF NOT jsonb_exists_all(given.evidence_versions, ARRAY[
        'worker:' || worker, 'model:' || asked.model_id, 'employer:' || asked.employer_id,
        'standard:' || asked.standard_key]) THEN
        RAISE EXCEPTION 'the decision does not say what it rests on'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'decision_rests_on_current_evidence';
    END IF;
    PERFORM public.crews_require_current(decision);
    IF given.standard_id IS DISTINCT FROM public.standard_in_force(
        asked.standard_key, (starts AT TIME ZONE asked.time_zone)::date) THEN
        RAISE EXCEPTION 'another version of the standard is in force'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'decision_uses_the_standard_in_force';
    END IF;
END
$$;

-- Nobody reaches a slot without passing the guard.
-- Replaced by confirmed_as_assigned.sql.
CREATE FUNCTION crews_assignment_is_permitted() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    role_of_slot text;
BEGIN
    PERFORM public.crews_require_decision(
        NEW.decision_id, NEW.slot_id, NEW.worker_id, NEW.start, NEW."end");
    SELECT role INTO role_of_slot FROM public.crews_slot WHERE id = NEW.slot_id;
    IF role_of_slot = 'trainee' AND NOT EXISTS (
        SELECT FROM public.crews_assignmentstate paired
        JOIN public.crews_slot their_slot ON their_slot.id = paired.slot_id
        JOIN public.crews_slot my_slot ON my_slot.id = NEW.slot_id
        WHERE paired.assignment_id = NEW.paired_with_id AND their_slot.role = 'erector'
          AND their_slot.job_id = my_slot.job_id AND paired.standing = 'standing'
          AND paired.during @> tstzrange(NEW.start, NEW."end")
          AND paired.worker_id <> NEW.worker_id
    ) THEN
        RAISE EXCEPTION 'a trainee must be paired with an erector of the crew'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'trainee_is_paired_with_an_erector';
    END IF;
    IF role_of_slot <> 'trainee' AND NEW.paired_with_id IS NOT NULL THEN
        RAISE EXCEPTION 'only a trainee is paired'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'only_a_trainee_is_paired';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER assignment_is_permitted BEFORE INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_is_permitted();

-- A new assignment stands.
-- Replaced by one_place_of_a_role.sql.
CREATE FUNCTION crews_assignment_stands() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentstate
        (assignment_id, slot_id, job_id, worker_id, supervises, decision_id, during, standing,
         reason)
    SELECT NEW.id, NEW.slot_id, s.job_id, NEW.worker_id,
           (s.role = 'erection_supervisor')::int, NEW.decision_id,
           tstzrange(NEW.start, NEW."end"), 'standing', ''
    FROM public.crews_slot s WHERE s.id = NEW.slot_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER assignment_stands AFTER INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_stands();

-- A confirmation passes the same guard as the assignment did.
-- Replaced by confirmed_as_assigned.sql.
CREATE FUNCTION crews_event_is_allowed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    held public.crews_assignment;
    state public.crews_assignmentstate;
BEGIN
    SELECT * INTO held FROM public.crews_assignment WHERE id = NEW.assignment_id;
    SELECT * INTO state FROM public.crews_assignmentstate
    WHERE assignment_id = NEW.assignment_id FOR UPDATE;
    IF state.standing = 'ended' THEN
        RAISE EXCEPTION 'the assignment has ended'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_ended_assignment_stays_ended';
    END IF;
    IF NEW.kind = 'confirmed' THEN
        PERFORM public.crews_require_decision(
            NEW.decision_id, held.slot_id, held.worker_id, lower(state.during),
            upper(state.during));
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER event_is_allowed BEFORE INSERT ON crews_assignmentevent
    FOR EACH ROW EXECUTE FUNCTION crews_event_is_allowed();

-- The present standing follows the events.
CREATE FUNCTION crews_state_follows_event() RETURNS trigger
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
CREATE TRIGGER state_follows_event AFTER INSERT ON crews_assignmentevent
    FOR EACH ROW EXECUTE FUNCTION crews_state_follows_event();

-- When anything a standing assignment rests on changes, the assignment is held.
-- Assignments whose window is over are history and stay as they were.
CREATE FUNCTION crews_hold_affected() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        RAISE EXCEPTION 'evidence changes in read-committed transactions'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'assignment_sees_concurrent_changes';
    END IF;
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT state.assignment_id, 'held', now(), 'the evidence of ' || NEW.subject || ' changed',
           now()
    FROM public.crews_decisiondependency dependency
    JOIN public.crews_assignmentstate state ON state.decision_id = dependency.decision_id
    WHERE dependency.subject = NEW.subject AND dependency.version <> NEW.version
      AND state.standing = 'standing' AND upper(state.during) > now()
    ORDER BY state.assignment_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER hold_affected AFTER INSERT OR UPDATE ON evidence_evidenceversion
    FOR EACH ROW EXECUTE FUNCTION crews_hold_affected();

-- A changed or withdrawn job holds everybody who was on it.
CREATE FUNCTION crews_job_change_holds() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT assignment_id, 'held', NEW.recorded_at, 'the job was changed or withdrawn',
           NEW.recorded_at
    FROM public.crews_assignmentstate
    WHERE job_id = NEW.supersedes_id AND standing = 'standing'
    ORDER BY assignment_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER job_change_holds AFTER INSERT ON crews_job
    FOR EACH ROW WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION crews_job_change_holds();

-- A trainee does not stay without the erector: when that one is held or leaves, the trainee is held.
CREATE FUNCTION crews_trainee_follows_erector() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_assignmentevent
        (assignment_id, kind, happened_at, reason, recorded_at)
    SELECT trainee.assignment_id, 'held', now(), 'the paired erector is held or leaves', now()
    FROM public.crews_assignment a
    JOIN public.crews_assignmentstate trainee ON trainee.assignment_id = a.id
    WHERE a.paired_with_id = NEW.assignment_id AND trainee.standing = 'standing'
      AND upper(trainee.during) > now()
      AND (NEW.standing <> 'standing' OR NOT NEW.during @> trainee.during)
    ORDER BY trainee.assignment_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER trainee_follows_erector AFTER UPDATE ON crews_assignmentstate
    FOR EACH ROW EXECUTE FUNCTION crews_trainee_follows_erector();

-- Site and standard must belong to the same jurisdiction.
CREATE FUNCTION crews_job_fits_its_site() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.standards_standardversion v JOIN public.equipment_site s
            ON s.jurisdiction = v.jurisdiction
        WHERE v.key = NEW.standard_key AND s.id = NEW.site_id
    ) THEN
        RAISE EXCEPTION 'the standard is not for the site''s jurisdiction'
            USING ERRCODE = 'check_violation',
                  CONSTRAINT = 'job_standard_is_for_the_sites_jurisdiction';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER job_fits_its_site BEFORE INSERT ON crews_job
    FOR EACH ROW EXECUTE FUNCTION crews_job_fits_its_site();

-- Helper functions are for triggers alone.
REVOKE ALL ON FUNCTION crews_require_current(bigint) FROM PUBLIC;
REVOKE ALL ON FUNCTION crews_require_decision(bigint, bigint, bigint, timestamptz, timestamptz)
    FROM PUBLIC;
