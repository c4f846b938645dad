-- What keeps somebody off the crews (a setback, a suspension, a revocation, a stand-down) is ended by what its source
-- says, or by the registrar with a reason. The record that says the opposite ends it too, and is held to the same.

-- A certificate's number, a scheme or a third party's name as people would take two to be one.
CREATE OR REPLACE FUNCTION evidence_folded_number(number text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT lower(regexp_replace(number, '[^[:alnum:]]', '', 'g'))
$$;

-- A stand-down and a certificate's status are corrected and withdrawn by the registrar, and so is a retraining, which
-- would otherwise be moved to another stand-down or another day.
CREATE OR REPLACE FUNCTION evidence_a_bar_is_the_registrars() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_registrar(NEW.recorded_by_id) THEN
        PERFORM public.registry_refuse('only_the_registrar_takes_back_a_bar');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_standdown FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION evidence_a_bar_is_the_registrars();
CREATE OR REPLACE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_certificationstatus FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION evidence_a_bar_is_the_registrars();

CREATE OR REPLACE FUNCTION evidence_retraining_stays_with_its_stand_down() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    answered bigint;
BEGIN
    SELECT after_stand_down_id INTO answered FROM public.evidence_instruction WHERE id = NEW.supersedes_id;
    IF (answered IS NOT NULL OR NEW.after_stand_down_id IS NOT NULL)
       AND NOT public.people_is_registrar(NEW.recorded_by_id) THEN
        PERFORM public.registry_refuse('only_the_registrar_corrects_retraining');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER retraining_stays BEFORE INSERT ON evidence_instruction FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION evidence_retraining_stays_with_its_stand_down();

-- Retraining answers a stand-down once it was given, and has its paper.
CREATE OR REPLACE FUNCTION evidence_retraining_follows_its_stand_down() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.document_id IS NULL THEN
        PERFORM public.registry_refuse('retraining_has_its_paper');
    END IF;
    IF EXISTS (SELECT FROM public.evidence_standdown
               WHERE id = NEW.after_stand_down_id AND start > NEW.completed_at) THEN
        PERFORM public.registry_refuse('retraining_follows_its_stand_down');
    END IF;
    RETURN NEW;
END
$$;
-- Its name comes after that of the trigger which asks whose stand-down it is.
CREATE OR REPLACE TRIGGER retraining_of_a_stand_down BEFORE INSERT ON evidence_instruction FOR EACH ROW
    WHEN (NEW.after_stand_down_id IS NOT NULL AND NOT NEW.withdrawn)
    EXECUTE FUNCTION evidence_retraining_follows_its_stand_down();

-- A reinstatement ends a suspension: the registrar records it, and says what it rests on.
CREATE OR REPLACE FUNCTION evidence_reinstatement_is_the_registrars() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_registrar(NEW.recorded_by_id) THEN
        PERFORM public.registry_refuse('only_the_registrar_reinstates');
    END IF;
    IF btrim(NEW.reason) = '' THEN
        PERFORM public.registry_refuse('a_reinstatement_gives_its_reason');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER reinstatement_is_the_registrars BEFORE INSERT ON evidence_certificationstatus FOR EACH ROW
    WHEN (NEW.status = 'reinstated' AND NOT NEW.withdrawn)
    EXECUTE FUNCTION evidence_reinstatement_is_the_registrars();

-- Whether what the one assessment found can govern where the other does: the same role, an operation in common, and
-- one model, class or family of the maker.
CREATE OR REPLACE FUNCTION evidence_same_scope(one evidence_assessment, other evidence_assessment) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT one.role = other.role AND one.operations && other.operations AND (
        one.model_id = other.model_id
        OR EXISTS (
            SELECT FROM public.equipment_cranemodel first JOIN public.equipment_cranemodel second
                ON second.crane_class = first.crane_class
            WHERE first.id = one.model_id AND second.id = other.model_id)
        OR EXISTS (
            SELECT FROM public.equipment_familydeclaration
            WHERE one.model_id = ANY (models_declared) AND other.model_id = ANY (models_declared)))
$$;

-- A third party's "not yet competent" is the registrar's to correct. An employer's is its assessor's, who is still
-- appointed, in their own account: never to turn it into a pass or another's, for which a new assessment is needed.
CREATE OR REPLACE FUNCTION evidence_a_setback_is_its_sources() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    setback public.evidence_assessment;
BEGIN
    SELECT * INTO setback FROM public.evidence_assessment WHERE id = NEW.supersedes_id;
    IF setback.outcome = 'pass' THEN
        RETURN NEW;
    END IF;
    IF setback.third_party <> '' THEN
        IF NOT public.people_is_registrar(NEW.recorded_by_id) THEN
            PERFORM public.registry_refuse('only_the_registrar_corrects_a_third_partys_setback');
        END IF;
        RETURN NEW;
    END IF;
    IF NOT NEW.withdrawn AND (NEW.outcome, NEW.third_party, NEW.employer_id, NEW.assessor_id)
       IS DISTINCT FROM (setback.outcome, setback.third_party, setback.employer_id, setback.assessor_id) THEN
        PERFORM public.registry_refuse('a_setback_is_not_turned_into_a_pass');
    END IF;
    IF NOT public.people_is_registrar(NEW.recorded_by_id) AND NOT (
        EXISTS (SELECT FROM public.people_account
                WHERE id = NEW.recorded_by_id AND is_active AND worker_id = setback.assessor_id)
        AND EXISTS (
            SELECT FROM public.evidence_appointment act
            WHERE act.worker_id = setback.assessor_id AND act.employer_id = setback.employer_id
              AND act.duty = 'assessor' AND NOT act.withdrawn AND act.start <= NEW.recorded_at
              AND (act."end" IS NULL OR act."end" > NEW.recorded_at)
              AND NOT EXISTS (SELECT FROM public.evidence_appointment later WHERE later.supersedes_id = act.id))
    ) THEN
        PERFORM public.registry_refuse('a_setback_is_changed_by_its_assessor');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER a_setback_is_its_sources BEFORE INSERT ON evidence_assessment FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL) EXECUTE FUNCTION evidence_a_setback_is_its_sources();

-- The latest assessment of a scope governs, so a pass ends the setback before it. It comes from who found the setback:
-- the same third party, with its paper; or an assessor with their own account, where an employer's own found it.
-- The registrar records what comes from elsewhere, with its paper. A correction moves no older pass behind a bar.
CREATE OR REPLACE FUNCTION evidence_a_pass_follows_from_its_source() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    before public.evidence_assessment;
    setback public.evidence_assessment;
BEGIN
    SELECT * INTO before FROM public.evidence_assessment WHERE id = NEW.supersedes_id;
    IF before.id IS NOT NULL AND public.people_is_registrar(NEW.recorded_by_id) THEN
        RETURN NEW;
    END IF;
    FOR setback IN
        SELECT * FROM public.evidence_assessment earlier
        WHERE earlier.worker_id = NEW.worker_id AND earlier.outcome <> 'pass' AND NOT earlier.withdrawn
          AND earlier.assessed_at <= NEW.assessed_at
          AND NOT EXISTS (SELECT FROM public.evidence_assessment later WHERE later.supersedes_id = earlier.id)
          AND public.evidence_same_scope(earlier, NEW)
    LOOP
        IF public.people_is_registrar(NEW.recorded_by_id) THEN
            -- The reason of a correction says why; a new record has its paper instead.
            IF NEW.document_id IS NULL THEN
                PERFORM public.registry_refuse('a_pass_after_a_setback_has_its_paper');
            END IF;
            CONTINUE;
        END IF;
        IF before.id IS NOT NULL
           AND NOT (setback.assessed_at <= before.assessed_at AND public.evidence_same_scope(setback, before)) THEN
            PERFORM public.registry_refuse('a_pass_after_a_bar_is_a_new_assessment');
        END IF;
        IF setback.third_party = '' THEN
            IF NEW.third_party <> '' OR NOT EXISTS (
                SELECT FROM public.people_account
                WHERE id = NEW.recorded_by_id AND is_active AND worker_id = NEW.assessor_id
            ) THEN
                PERFORM public.registry_refuse('a_pass_after_a_setback_comes_from_its_source');
            END IF;
        ELSIF public.evidence_folded_number(NEW.third_party) <> public.evidence_folded_number(setback.third_party)
            OR NEW.document_id IS NULL OR NEW.document_id IS NOT DISTINCT FROM setback.document_id THEN
            PERFORM public.registry_refuse('a_pass_after_a_setback_comes_from_its_source');
        END IF;
    END LOOP;
    IF before.id IS NOT NULL AND before.assessed_at < NEW.assessed_at AND EXISTS (
        SELECT FROM public.evidence_standdown bar
        WHERE bar.worker_id = NEW.worker_id AND NOT bar.withdrawn
          AND bar.start > before.assessed_at AND bar.start <= NEW.assessed_at
          AND NOT EXISTS (SELECT FROM public.evidence_standdown later WHERE later.supersedes_id = bar.id)
    ) THEN
        PERFORM public.registry_refuse('a_pass_after_a_bar_is_a_new_assessment');
    END IF;
    RETURN NEW;
END
$$;
-- Its name comes after that of the setback's own trigger, which knows better what is wrong with a correction.
CREATE OR REPLACE TRIGGER pass_follows_from_its_source BEFORE INSERT ON evidence_assessment FOR EACH ROW
    WHEN (NEW.outcome = 'pass' AND NOT NEW.withdrawn) EXECUTE FUNCTION evidence_a_pass_follows_from_its_source();

-- An appointment that has ended is not prolonged afterwards: what was signed meanwhile was signed without it.
CREATE OR REPLACE FUNCTION evidence_an_ended_appointment_stays_ended() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_registrar(NEW.recorded_by_id) AND EXISTS (
        SELECT FROM public.evidence_appointment before
        WHERE before.id = NEW.supersedes_id AND before."end" <= NEW.recorded_at
          AND (NEW."end" IS NULL OR NEW."end" > before."end")
    ) THEN
        PERFORM public.registry_refuse('an_ended_appointment_stays_ended');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER an_ended_appointment_stays_ended BEFORE INSERT ON evidence_appointment FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL AND NOT NEW.withdrawn)
    EXECUTE FUNCTION evidence_an_ended_appointment_stays_ended();

-- The end of a bar has its reason beside it when the transaction ends.
CREATE OR REPLACE FUNCTION evidence_the_end_of_a_bar_gives_its_reason() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF TG_TABLE_NAME = 'evidence_assessment' AND EXISTS (
        SELECT FROM public.evidence_assessment WHERE id = NEW.supersedes_id AND outcome = 'pass'
    ) THEN
        RETURN NULL;
    END IF;
    IF NOT EXISTS (
        SELECT FROM public.evidence_correctionanswer answer
        JOIN public.evidence_correctionrequest asked ON asked.id = answer.request_id
        WHERE answer.new_record_id = NEW.id AND asked.worker_id = NEW.worker_id
          AND public.evidence_table_of(asked.record_kind) = TG_TABLE_NAME
          AND answer.recorded_by_id = NEW.recorded_by_id AND btrim(answer.reason) <> ''
    ) THEN
        PERFORM public.registry_refuse('the_end_of_a_bar_gives_its_reason');
    END IF;
    RETURN NULL;
END
$$;
DO $$
DECLARE
    name text;
BEGIN
    FOREACH name IN ARRAY ARRAY['evidence_standdown', 'evidence_certificationstatus', 'evidence_assessment'] LOOP
        EXECUTE format('DROP TRIGGER IF EXISTS the_end_of_a_bar_gives_its_reason ON %I', name);
        EXECUTE format('CREATE CONSTRAINT TRIGGER the_end_of_a_bar_gives_its_reason AFTER INSERT ON %I '
                       'DEFERRABLE INITIALLY DEFERRED FOR EACH ROW WHEN (NEW.supersedes_id IS NOT NULL) '
                       'EXECUTE FUNCTION evidence_the_end_of_a_bar_gives_its_reason()', name);
    END LOOP;
END
$$;

-- What was suspended or revoked does not come back as a new record, spelt otherwise or not, nor by correcting another.
-- What its issuer gave out afterwards brings its paper, unless the registrar records it.
CREATE OR REPLACE FUNCTION evidence_certificate_is_not_taken_out() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    taken_out record;
BEGIN
    IF NEW.withdrawn THEN
        RETURN NEW;
    END IF;
    FOR taken_out IN
        WITH RECURSIVE bar AS (
            SELECT status.id, status.certification_id, status.effective_at
            FROM public.evidence_certificationstatus status
            WHERE status.worker_id = NEW.worker_id AND status.status IN ('suspended', 'revoked')
              AND NOT status.withdrawn
              AND NOT EXISTS (
                  SELECT FROM public.evidence_certificationstatus later WHERE later.supersedes_id = status.id)
              AND NOT EXISTS (
                  SELECT FROM public.evidence_certificationstatus later
                  WHERE status.status = 'suspended' AND later.status = 'reinstated' AND NOT later.withdrawn
                    AND later.certification_id = status.certification_id
                    AND later.effective_at BETWEEN status.effective_at AND NEW.recorded_at
                    AND NOT EXISTS (
                        SELECT FROM public.evidence_certificationstatus last WHERE last.supersedes_id = later.id))
        ), version (bar, id, effective_at) AS (
            SELECT id, certification_id, effective_at FROM bar
            UNION
            -- The certificate as it was before, and as it was corrected since.
            SELECT version.bar, other.id, version.effective_at
            FROM version
            JOIN public.evidence_certification one ON one.id = version.id
            JOIN public.evidence_certification other ON other.supersedes_id = one.id OR other.id = one.supersedes_id
        )
        SELECT public.evidence_folded_number(taken.number) = public.evidence_folded_number(NEW.number) AS same_number,
               -- The day has begun somewhere up to 14 hours before that of UTC.
               NEW.issued <= (version.effective_at AT TIME ZONE 'UTC' + interval '14 hours')::date AS issued_before
        FROM version JOIN public.evidence_certification taken ON taken.id = version.id
        -- One number is one certificate of a scheme or of an issuer, under whatever name of the other.
        WHERE (public.evidence_folded_number(taken.scheme) = public.evidence_folded_number(NEW.scheme)
               OR public.evidence_folded_number(taken.issuer) = public.evidence_folded_number(NEW.issuer))
          -- What is said of a certificate goes with its corrections.
          AND NOT EXISTS (SELECT FROM version own WHERE own.bar = version.bar AND own.id = NEW.supersedes_id)
    LOOP
        IF taken_out.same_number AND taken_out.issued_before THEN
            PERFORM public.registry_refuse('a_certificate_taken_out_is_not_recorded_anew');
        END IF;
        IF NOT taken_out.issued_before AND NEW.document_id IS NULL
           AND NOT public.people_is_registrar(NEW.recorded_by_id) THEN
            PERFORM public.registry_refuse('a_certificate_after_a_bar_has_its_paper');
        END IF;
    END LOOP;
    -- A second spelling would stay in force when the first is revoked.
    IF NEW.supersedes_id IS NULL AND EXISTS (
        SELECT FROM public.evidence_certification same
        WHERE same.worker_id = NEW.worker_id AND same.issued = NEW.issued AND NOT same.withdrawn
          AND public.evidence_folded_number(same.scheme) = public.evidence_folded_number(NEW.scheme)
          AND public.evidence_folded_number(same.number) = public.evidence_folded_number(NEW.number)
          AND NOT EXISTS (SELECT FROM public.evidence_certification later WHERE later.supersedes_id = same.id)
    ) THEN
        PERFORM public.registry_refuse('certificate_is_recorded_once');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER certificate_is_not_taken_out BEFORE INSERT ON evidence_certification
    FOR EACH ROW EXECUTE FUNCTION evidence_certificate_is_not_taken_out();
