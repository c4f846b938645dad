-- The key material that checks a decision's seal. Only the owner can read it.
CREATE TABLE IF NOT EXISTS crews_sealing_key (
    inner_block bytea PRIMARY KEY CHECK (length(inner_block) = 64),
    outer_block bytea NOT NULL CHECK (length(outer_block) = 64)
);

-- A decision is what its sealed statement says, column by column.
CREATE OR REPLACE FUNCTION crews_decision_is_sealed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    said jsonb;
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.crews_sealing_key
        WHERE sha256(outer_block || sha256(inner_block || convert_to(NEW.statement, 'UTF8')))
              = NEW.seal
    ) THEN
        PERFORM public.registry_refuse('decision_carries_the_engines_seal');
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
CREATE OR REPLACE TRIGGER decision_is_sealed BEFORE INSERT ON crews_decision
    FOR EACH ROW EXECUTE FUNCTION crews_decision_is_sealed();

-- The versions a decision was computed on become rows, so that a change finds it.
CREATE OR REPLACE FUNCTION crews_decision_dependencies() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    INSERT INTO public.crews_decisiondependency (decision_id, subject, version)
    SELECT NEW.id, key, value::bigint FROM jsonb_each_text(NEW.evidence_versions);
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER decision_dependencies AFTER INSERT ON crews_decision
    FOR EACH ROW EXECUTE FUNCTION crews_decision_dependencies();

-- Whether a decision still rests on current evidence; locks what it rests on.
-- A concurrent change either committed before (and is seen here) or waits for
-- this transaction and then finds, and holds, the assignment made in it.
CREATE OR REPLACE FUNCTION crews_require_current(decision bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    dependency record;
    current_version bigint;
BEGIN
    -- Under a stricter isolation an older snapshot would hide concurrent changes.
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        PERFORM public.registry_refuse('assignment_sees_concurrent_changes');
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
            PERFORM public.registry_refuse('decision_rests_on_current_evidence');
        END IF;
    END LOOP;
END
$$;

-- Helper functions are for triggers alone.
REVOKE ALL ON FUNCTION crews_require_current(bigint) FROM PUBLIC;

-- A confirmation asks all that an assignment asks: the pair of a trainee, the books of the employer. And a
-- decision is about the site's own calendar and language.
CREATE OR REPLACE FUNCTION crews_require_decision(
    decision bigint, slot bigint, worker bigint, starts timestamptz, ends timestamptz
) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    given public.crews_decision;
    question jsonb;
    asked record;
BEGIN
    SELECT * INTO given FROM public.crews_decision WHERE id = decision;
    question := given.statement::jsonb #> '{answer,question}';
    SELECT s.role, j.id AS job, j.operation, j.configuration, j.employer_id, j.standard_key,
           j.start, j."end", j.withdrawn, c.model_id, si.jurisdiction, si.time_zone,
           si.working_language,
           EXISTS (SELECT FROM public.crews_job later WHERE later.supersedes_id = j.id) AS superseded
    INTO asked
    FROM public.crews_slot s
    JOIN public.crews_job j ON j.id = s.job_id
    JOIN public.equipment_crane c ON c.id = j.crane_id
    JOIN public.equipment_site si ON si.id = j.site_id
    WHERE s.id = slot;
    IF given.outcome IS DISTINCT FROM 'permitted' OR given.known_at IS NOT NULL THEN
        PERFORM public.registry_refuse('assignment_needs_a_permitted_decision');
    END IF;
    IF (given.worker_id, given.role, given.model_id, given.configuration, given.operation,
        given.employer_id, given.jurisdiction, given.start, given."end",
        question ->> 'time_zone', coalesce(question ->> 'working_language', ''))
       IS DISTINCT FROM
       (worker, asked.role::text, asked.model_id, asked.configuration::text, asked.operation::text,
        asked.employer_id, asked.jurisdiction::text, starts, ends,
        asked.time_zone::text, asked.working_language::text) THEN
        PERFORM public.registry_refuse('decision_answers_this_question');
    END IF;
    IF asked.superseded OR asked.withdrawn THEN
        PERFORM public.registry_refuse('job_is_current');
    END IF;
    IF starts < asked.start OR ends > asked."end" THEN
        PERFORM public.registry_refuse('assignment_lies_within_the_job');
    END IF;
    IF NOT jsonb_exists_all(given.evidence_versions, ARRAY[
        'worker:' || worker, 'model:' || asked.model_id, 'employer:' || asked.employer_id,
        'standard:' || asked.standard_key]) THEN
        PERFORM public.registry_refuse('decision_rests_on_current_evidence');
    END IF;
    PERFORM public.crews_require_current(decision);
    IF given.standard_id IS DISTINCT FROM public.standard_in_force(
        asked.standard_key, (starts AT TIME ZONE asked.time_zone)::date) THEN
        PERFORM public.registry_refuse('decision_uses_the_standard_in_force');
    END IF;
    -- Asked after the worker's version is locked: an employment that ends meanwhile is seen here or waits.
    -- One employment may follow upon another.
    IF NOT coalesce((
        SELECT range_agg(daterange(employment.start, employment."end", '[]'))
        FROM public.people_employment employment
        WHERE employment.worker_id = worker AND employment.employer_id = asked.employer_id
          AND NOT employment.withdrawn
          AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id)
    ), '{}') @> daterange(
        (starts AT TIME ZONE asked.time_zone)::date,
        ((ends - interval '1 microsecond') AT TIME ZONE asked.time_zone)::date, '[]')
    THEN
        PERFORM public.registry_refuse('worker_is_employed_by_the_jobs_employer');
    END IF;
END
$$;
REVOKE ALL ON FUNCTION crews_require_decision(bigint, bigint, bigint, timestamptz, timestamptz)
    FROM PUBLIC;

-- A trainee is nowhere without an erector who is there the whole time. The lock makes somebody who takes that
-- erector away wait, and then find, and hold, the trainee; or it waits here, and the erector is seen to be gone.
CREATE OR REPLACE FUNCTION crews_require_pair(
    paired_assignment bigint, slot bigint, worker bigint, window_asked tstzrange
) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.crews_assignmentstate paired
    WHERE paired.assignment_id = paired_assignment AND paired.role = 'erector'
      AND paired.job_id = (SELECT job_id FROM public.crews_slot WHERE id = slot)
      AND paired.standing = 'standing' AND paired.during @> window_asked
      AND paired.worker_id <> worker
    FOR SHARE;
    IF NOT FOUND THEN
        PERFORM public.registry_refuse('trainee_is_paired_with_an_erector');
    END IF;
END
$$;
REVOKE ALL ON FUNCTION crews_require_pair(bigint, bigint, bigint, tstzrange) FROM PUBLIC;

CREATE OR REPLACE FUNCTION crews_assignment_is_permitted() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    role_of_slot text;
BEGIN
    PERFORM public.crews_require_decision(
        NEW.decision_id, NEW.slot_id, NEW.worker_id, NEW.start, NEW."end");
    SELECT role INTO role_of_slot FROM public.crews_slot WHERE id = NEW.slot_id;
    IF role_of_slot = 'trainee' THEN
        PERFORM public.crews_require_pair(
            NEW.paired_with_id, NEW.slot_id, NEW.worker_id, tstzrange(NEW.start, NEW."end"));
    END IF;
    IF role_of_slot <> 'trainee' AND NEW.paired_with_id IS NOT NULL THEN
        PERFORM public.registry_refuse('only_a_trainee_is_paired');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER assignment_is_permitted BEFORE INSERT ON crews_assignment
    FOR EACH ROW EXECUTE FUNCTION crews_assignment_is_permitted();
