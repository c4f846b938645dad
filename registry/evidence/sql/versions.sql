-- Evidence is append-only: whoever tries to change or remove a row is refused by name.
CREATE FUNCTION evidence_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: record a correction instead', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'records_are_never_changed';
END
$$;

-- Count a change of each subject, in one order so that two changes cannot block each other.
CREATE FUNCTION evidence_bump(subjects text[]) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    INSERT INTO public.evidence_evidenceversion AS known (subject, version)
    SELECT DISTINCT subject COLLATE "C", 1 FROM unnest(subjects) AS subject ORDER BY 1
    ON CONFLICT (subject) DO UPDATE SET version = known.version + 1
$$;
REVOKE ALL ON FUNCTION evidence_bump(text[]) FROM PUBLIC;

-- New rows about workers.
CREATE FUNCTION evidence_workers_changed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(SELECT DISTINCT 'worker:' || worker_id FROM added));
    RETURN NULL;
END
$$;

-- A countersignature changes what the entry's worker can show.
CREATE FUNCTION evidence_countersigned() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(
        SELECT DISTINCT 'worker:' || entry.worker_id
        FROM added JOIN public.evidence_hoursentry entry ON entry.id = added.entry_id));
    RETURN NULL;
END
$$;

-- A declaration concerns the models it names and those it named before.
CREATE FUNCTION evidence_family_declared() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(
        SELECT DISTINCT 'model:' || unnest(models_declared) FROM added
        UNION
        SELECT DISTINCT 'model:' || unnest(earlier.models_declared)
        FROM added JOIN public.equipment_familydeclaration earlier ON earlier.id = added.supersedes_id));
    RETURN NULL;
END
$$;

-- A placement concerns everybody who has hours on that crane: their entries may count or not.
CREATE FUNCTION evidence_crane_placed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(
        SELECT DISTINCT 'worker:' || entry.worker_id
        FROM added JOIN public.evidence_hoursentry entry ON entry.crane_id = added.crane_id));
    RETURN NULL;
END
$$;

-- A family holds models of the maker that declares it, and of no other.
CREATE FUNCTION equipment_family_is_the_makers_own() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF cardinality(NEW.models_declared) < 2 OR cardinality(NEW.models_declared) <> (
        SELECT count(*) FROM equipment_cranemodel
        WHERE id = ANY (NEW.models_declared) AND maker_id = NEW.maker_id
    ) THEN
        RAISE EXCEPTION 'a family holds two or more models of its own maker'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'family_holds_models_of_its_own_maker';
    END IF;
    RETURN NEW;
END
$$;

-- A crane stands on one site at a time.
CREATE FUNCTION equipment_crane_stands_once() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    -- Two placements of one crane at once would not see each other.
    PERFORM FROM public.equipment_crane WHERE id = NEW.crane_id FOR UPDATE;
    IF NOT NEW.withdrawn AND EXISTS (
        SELECT FROM public.equipment_craneplacement other
        WHERE other.crane_id = NEW.crane_id AND NOT other.withdrawn
          AND other.id IS DISTINCT FROM NEW.supersedes_id
          AND NOT EXISTS (
              SELECT FROM public.equipment_craneplacement later WHERE later.supersedes_id = other.id)
          AND tstzrange(other.start, other."end") && tstzrange(NEW.start, NEW."end")
    ) THEN
        RAISE EXCEPTION 'the crane stands somewhere else then'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'crane_stands_on_one_site_at_a_time';
    END IF;
    RETURN NEW;
END
$$;

-- A correction is about the same worker, crane or maker as what it corrects, which is no withdrawal.
CREATE FUNCTION evidence_correction_keeps_its_subject() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    subject text := TG_ARGV[0];
    earlier bigint;
    was_withdrawn boolean;
BEGIN
    EXECUTE format('SELECT %I, withdrawn FROM public.%I WHERE id = $1', subject, TG_TABLE_NAME)
        INTO earlier, was_withdrawn USING NEW.supersedes_id;
    IF earlier IS DISTINCT FROM (to_jsonb(NEW) ->> subject)::bigint THEN
        RAISE EXCEPTION 'a correction keeps its subject'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'correction_keeps_its_subject';
    END IF;
    IF was_withdrawn THEN
        RAISE EXCEPTION 'a withdrawn record stays withdrawn'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'withdrawn_record_stays_withdrawn';
    END IF;
    RETURN NEW;
END
$$;

-- Nobody countersigns their own hours, or work that is not done yet.
CREATE FUNCTION evidence_countersignature_is_anothers() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    entry public.evidence_hoursentry;
BEGIN
    SELECT * INTO entry FROM public.evidence_hoursentry WHERE id = NEW.entry_id;
    IF entry.worker_id = NEW.by_id THEN
        RAISE EXCEPTION 'nobody countersigns their own hours'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'nobody_countersigns_their_own_hours';
    END IF;
    IF NEW.at < entry."end" THEN
        RAISE EXCEPTION 'countersigned before the work ended'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'countersignature_follows_the_work';
    END IF;
    RETURN NEW;
END
$$;

-- A status and a retraining belong to the worker whose certificate or stand-down it is.
CREATE FUNCTION evidence_reference_is_the_workers() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    owner bigint;
BEGIN
    IF TG_TABLE_NAME = 'evidence_certificationstatus' THEN
        SELECT worker_id INTO owner FROM public.evidence_certification WHERE id = NEW.certification_id;
    ELSE
        SELECT worker_id INTO owner FROM public.evidence_standdown WHERE id = NEW.after_stand_down_id;
    END IF;
    IF owner IS DISTINCT FROM NEW.worker_id THEN
        RAISE EXCEPTION 'this is about another worker'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'reference_is_to_the_same_worker';
    END IF;
    RETURN NEW;
END
$$;

-- The document is what its SHA-256 says.
CREATE FUNCTION evidence_document_is_whole() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF encode(sha256(NEW.content), 'hex') <> NEW.sha256 THEN
        RAISE EXCEPTION 'the document differs from its SHA-256'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'document_matches_its_sha256';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER document_is_whole BEFORE INSERT ON evidence_document
    FOR EACH ROW EXECUTE FUNCTION evidence_document_is_whole();

-- Work is recorded in whole minutes, on a crane of the model it is recorded for.
ALTER TABLE evidence_hoursentry ADD CONSTRAINT hours_are_in_whole_minutes CHECK (
    extract(epoch FROM start) % 60 = 0 AND extract(epoch FROM "end") % 60 = 0);
ALTER TABLE equipment_crane ADD CONSTRAINT crane_and_its_model UNIQUE (id, model_id);
ALTER TABLE evidence_hoursentry ADD CONSTRAINT crane_is_of_the_model
    FOREIGN KEY (crane_id, model_id) REFERENCES equipment_crane (id, model_id)
    DEFERRABLE INITIALLY DEFERRED;

-- A site's days are told by a time zone that exists.
CREATE FUNCTION equipment_time_zone_is_known() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_timezone_names WHERE name = NEW.time_zone) THEN
        RAISE EXCEPTION 'there is no such time zone'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'site_time_zone_is_known';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER time_zone_is_known BEFORE INSERT ON equipment_site
    FOR EACH ROW EXECUTE FUNCTION equipment_time_zone_is_known();

-- How far recorded_at may lie from the database's clock; null: unchecked, for test databases.
CREATE TABLE database_policy (
    one_row boolean PRIMARY KEY DEFAULT true CHECK (one_row),
    recorded_at_tolerance interval
);
INSERT INTO database_policy (recorded_at_tolerance) VALUES (interval '10 minutes');

-- The application cannot back-date what the register learned; the owner can, to bring in old registers.
CREATE FUNCTION evidence_recorded_now() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    tolerance interval;
BEGIN
    SELECT recorded_at_tolerance INTO tolerance FROM public.database_policy;
    IF session_user <> current_user AND tolerance IS NOT NULL
       AND NEW.recorded_at NOT BETWEEN now() - tolerance AND clock_timestamp() + tolerance THEN
        RAISE EXCEPTION 'recorded_at is not the present'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'recorded_at_is_the_present';
    END IF;
    RETURN NEW;
END
$$;

-- Worker numbers, as people read them out.
CREATE SEQUENCE people_worker_number;
CREATE FUNCTION people_number_worker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    number text := nextval('public.people_worker_number');
BEGIN
    NEW.number := 'W-' || lpad(number, greatest(6, length(number)), '0');
    RETURN NEW;
END
$$;
CREATE TRIGGER worker_is_numbered BEFORE INSERT ON people_worker
    FOR EACH ROW EXECUTE FUNCTION people_number_worker();

CREATE TRIGGER family_is_the_makers_own BEFORE INSERT ON equipment_familydeclaration
    FOR EACH ROW EXECUTE FUNCTION equipment_family_is_the_makers_own();
CREATE TRIGGER crane_stands_once BEFORE INSERT ON equipment_craneplacement
    FOR EACH ROW EXECUTE FUNCTION equipment_crane_stands_once();
CREATE TRIGGER correction_keeps_its_subject BEFORE INSERT ON equipment_craneplacement
    FOR EACH ROW WHEN (NEW.supersedes_id IS NOT NULL)
    EXECUTE FUNCTION evidence_correction_keeps_its_subject('crane_id');
CREATE TRIGGER correction_keeps_its_subject BEFORE INSERT ON equipment_familydeclaration
    FOR EACH ROW WHEN (NEW.supersedes_id IS NOT NULL)
    EXECUTE FUNCTION evidence_correction_keeps_its_subject('maker_id');
CREATE TRIGGER countersignature_is_anothers BEFORE INSERT ON evidence_countersignature
    FOR EACH ROW EXECUTE FUNCTION evidence_countersignature_is_anothers();
CREATE TRIGGER status_is_the_workers BEFORE INSERT ON evidence_certificationstatus
    FOR EACH ROW EXECUTE FUNCTION evidence_reference_is_the_workers();
CREATE TRIGGER retraining_is_the_workers BEFORE INSERT ON evidence_instruction
    FOR EACH ROW WHEN (NEW.after_stand_down_id IS NOT NULL)
    EXECUTE FUNCTION evidence_reference_is_the_workers();

CREATE TRIGGER countersigned AFTER INSERT ON evidence_countersignature
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_countersigned();
CREATE TRIGGER family_declared AFTER INSERT ON equipment_familydeclaration
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_family_declared();
CREATE TRIGGER crane_placed AFTER INSERT ON equipment_craneplacement
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_crane_placed();

-- The triggers that many tables share.
DO $$
DECLARE
    name text;
BEGIN
    FOREACH name IN ARRAY ARRAY[
        'evidence_hoursentry', 'evidence_assessment', 'evidence_certification',
        'evidence_certificationstatus', 'evidence_instruction', 'evidence_appointment',
        'evidence_standdown', 'people_employment', 'people_languageskill'
    ] LOOP
        EXECUTE format('CREATE TRIGGER workers_changed AFTER INSERT ON %I REFERENCING NEW TABLE AS added '
                       'FOR EACH STATEMENT EXECUTE FUNCTION evidence_workers_changed()', name);
        EXECUTE format('CREATE TRIGGER correction_keeps_its_subject BEFORE INSERT ON %I FOR EACH ROW '
                       'WHEN (NEW.supersedes_id IS NOT NULL) '
                       'EXECUTE FUNCTION evidence_correction_keeps_its_subject(''worker_id'')', name);
    END LOOP;
    FOREACH name IN ARRAY ARRAY[
        'evidence_hoursentry', 'evidence_countersignature', 'evidence_assessment',
        'evidence_certification', 'evidence_certificationstatus', 'evidence_instruction',
        'evidence_appointment', 'evidence_standdown', 'evidence_document', 'people_employment',
        'people_languageskill', 'people_worker', 'people_employer', 'equipment_maker',
        'equipment_cranemodel', 'equipment_familydeclaration', 'equipment_site', 'equipment_crane',
        'equipment_craneplacement'
    ] LOOP
        EXECUTE format('CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON %I '
                       'FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change()', name);
        EXECUTE format('CREATE TRIGGER recorded_now BEFORE INSERT ON %I '
                       'FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now()', name);
        EXECUTE format('REVOKE ALL ON %I FROM registry_application', name);
        EXECUTE format('GRANT SELECT, INSERT ON %I TO registry_application', name);
    END LOOP;
    GRANT SELECT ON evidence_evidenceversion TO registry_application;
END
$$;
