-- A crane is of the maker of its model.
CREATE FUNCTION equipment_crane_is_of_its_maker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.maker_id IS DISTINCT FROM (SELECT maker_id FROM public.equipment_cranemodel WHERE id = NEW.model_id) THEN
        RAISE EXCEPTION 'the model is another maker''s'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'crane_is_of_its_maker';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER crane_is_of_its_maker BEFORE INSERT ON equipment_crane
    FOR EACH ROW EXECUTE FUNCTION equipment_crane_is_of_its_maker();

-- A declaration joins two or more models, all of the maker that declares.
CREATE FUNCTION equipment_family_is_of_one_maker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    named bigint;
    its_own bigint;
BEGIN
    SELECT count(DISTINCT id) INTO named FROM unnest(NEW.model_ids) AS id;
    SELECT count(*) INTO its_own FROM public.equipment_cranemodel
    WHERE id = ANY (NEW.model_ids) AND maker_id = NEW.maker_id;
    IF named < 2 THEN
        RAISE EXCEPTION 'a family joins at least two models'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'family_joins_two_models_or_more';
    END IF;
    IF named <> its_own OR array_position(NEW.model_ids, NULL) IS NOT NULL THEN
        RAISE EXCEPTION 'a maker declares families of its own models only'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'family_models_are_of_the_same_maker';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER family_is_of_one_maker BEFORE INSERT ON equipment_familydeclaration
    FOR EACH ROW EXECUTE FUNCTION equipment_family_is_of_one_maker();

-- A site's days are counted in a zone that the database knows by its IANA name.
CREATE FUNCTION equipment_site_time_zone_is_known() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (SELECT FROM pg_timezone_names WHERE name = NEW.time_zone) THEN
        RAISE EXCEPTION '% is not an IANA time zone', NEW.time_zone
            USING ERRCODE = 'check_violation', CONSTRAINT = 'site_time_zone_is_known';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER site_time_zone_is_known BEFORE INSERT ON equipment_site
    FOR EACH ROW EXECUTE FUNCTION equipment_site_time_zone_is_known();

-- A crane is on one site at a time. Superseded rows stay, so no exclusion constraint can say it.
CREATE FUNCTION equipment_crane_is_on_one_site() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.withdrawn THEN
        RETURN NEW;
    END IF;
    -- Two placements of one crane wait for each other; otherwise neither would see the other.
    PERFORM FROM public.equipment_crane WHERE id = NEW.crane_id FOR NO KEY UPDATE;
    IF EXISTS (
        SELECT FROM public.equipment_craneplacement other
        WHERE other.crane_id = NEW.crane_id AND NOT other.withdrawn
          AND other.id IS DISTINCT FROM NEW.supersedes_id
          AND tstzrange(other.start, other."end") && tstzrange(NEW.start, NEW."end")
          AND NOT EXISTS (
              SELECT FROM public.equipment_craneplacement later WHERE later.supersedes_id = other.id)
    ) THEN
        RAISE EXCEPTION 'the crane stands on a site in this time already'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'crane_is_on_one_site_at_a_time';
    END IF;
    RETURN NEW;
END
$$;
-- Named to fire after the other guards, which cost less.
CREATE TRIGGER stands_on_one_site BEFORE INSERT ON equipment_craneplacement
    FOR EACH ROW EXECUTE FUNCTION equipment_crane_is_on_one_site();
