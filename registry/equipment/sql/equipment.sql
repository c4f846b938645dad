-- A family holds models of the maker that declares it, and of no other.
CREATE OR REPLACE FUNCTION equipment_family_is_the_makers_own() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF cardinality(NEW.models_declared) < 2 OR cardinality(NEW.models_declared) <> (
        SELECT count(*) FROM equipment_cranemodel
        WHERE id = ANY (NEW.models_declared) AND maker_id = NEW.maker_id
    ) THEN
        PERFORM public.registry_refuse('family_holds_models_of_its_own_maker');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER family_is_the_makers_own BEFORE INSERT ON equipment_familydeclaration
    FOR EACH ROW EXECUTE FUNCTION equipment_family_is_the_makers_own();

-- A crane stands on one site at a time.
CREATE OR REPLACE FUNCTION equipment_crane_stands_once() RETURNS trigger
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
        PERFORM public.registry_refuse('crane_stands_on_one_site_at_a_time');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER crane_stands_once BEFORE INSERT ON equipment_craneplacement
    FOR EACH ROW EXECUTE FUNCTION equipment_crane_stands_once();
