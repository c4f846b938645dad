-- Count a change of each subject, in one order so that two changes cannot block each other.
CREATE OR REPLACE FUNCTION evidence_bump(subjects text[]) RETURNS void
LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    INSERT INTO public.evidence_evidenceversion AS known (subject, version)
    SELECT DISTINCT subject COLLATE "C", 1 FROM unnest(subjects) AS subject ORDER BY 1
    ON CONFLICT (subject) DO UPDATE SET version = known.version + 1
$$;
REVOKE ALL ON FUNCTION evidence_bump(text[]) FROM PUBLIC;

-- New rows about workers.
CREATE OR REPLACE FUNCTION evidence_workers_changed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(SELECT DISTINCT 'worker:' || worker_id FROM added));
    RETURN NULL;
END
$$;

-- A countersignature changes what the entry's worker can show.
CREATE OR REPLACE FUNCTION evidence_countersigned() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(
        SELECT DISTINCT 'worker:' || entry.worker_id
        FROM added JOIN public.evidence_hoursentry entry ON entry.id = added.entry_id));
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER countersigned AFTER INSERT ON evidence_countersignature
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_countersigned();

-- A declaration concerns the models it names and those it named before.
CREATE OR REPLACE FUNCTION evidence_family_declared() RETURNS trigger
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
CREATE OR REPLACE TRIGGER family_declared AFTER INSERT ON equipment_familydeclaration
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_family_declared();

-- A placement concerns everybody who has hours on that crane: their entries may count or not.
CREATE OR REPLACE FUNCTION evidence_crane_placed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM public.evidence_bump(ARRAY(
        SELECT DISTINCT 'worker:' || entry.worker_id
        FROM added JOIN public.evidence_hoursentry entry ON entry.crane_id = added.crane_id));
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER crane_placed AFTER INSERT ON equipment_craneplacement
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION evidence_crane_placed();
