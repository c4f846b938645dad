CREATE OR REPLACE TRIGGER standard_versions_are_never_changed
    BEFORE UPDATE OR DELETE ON standards_standardversion
    FOR EACH ROW EXECUTE FUNCTION registry_refuse_change();
CREATE OR REPLACE TRIGGER standard_versions_are_never_emptied
    BEFORE TRUNCATE ON standards_standardversion
    FOR EACH STATEMENT EXECUTE FUNCTION registry_refuse_change();
CREATE OR REPLACE TRIGGER employer_figures_are_never_changed
    BEFORE UPDATE OR DELETE ON standards_employerfigure
    FOR EACH ROW EXECUTE FUNCTION registry_refuse_change();
CREATE OR REPLACE TRIGGER employer_figures_are_never_emptied
    BEFORE TRUNCATE ON standards_employerfigure
    FOR EACH STATEMENT EXECUTE FUNCTION registry_refuse_change();

-- A decision rests on the standard and the employer's figures as much as on a worker's records, so each change of
-- these moves an evidence version too. The functions run as their owner: the application's role may not bump by itself.
CREATE OR REPLACE FUNCTION standards_bump_standard() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM evidence_bump(ARRAY['standard:' || NEW.key]);
    RETURN NULL;
END $$;
REVOKE ALL ON FUNCTION standards_bump_standard() FROM PUBLIC;

CREATE OR REPLACE FUNCTION standards_bump_employer() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM evidence_bump(ARRAY['employer:' || NEW.employer_id]);
    RETURN NULL;
END $$;
REVOKE ALL ON FUNCTION standards_bump_employer() FROM PUBLIC;

CREATE OR REPLACE TRIGGER standard_versions_bump_evidence
    AFTER INSERT ON standards_standardversion
    FOR EACH ROW EXECUTE FUNCTION standards_bump_standard();
CREATE OR REPLACE TRIGGER employer_figures_bump_evidence
    AFTER INSERT ON standards_employerfigure
    FOR EACH ROW EXECUTE FUNCTION standards_bump_employer();

-- The twin of queries.standard_in_force, for triggers.
CREATE OR REPLACE FUNCTION standard_in_force(key text, day date) RETURNS bigint
LANGUAGE sql STABLE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT newest.id
    FROM (
        SELECT version.id, version.in_force_until
        FROM standards_standardversion AS version
        WHERE version.key = $1 AND version.in_force_from <= $2
        ORDER BY version.in_force_from DESC
        LIMIT 1
    ) AS newest
    WHERE newest.in_force_until IS NULL OR newest.in_force_until >= $2
$$;
REVOKE ALL ON FUNCTION standard_in_force(text, date) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION standard_in_force(text, date) TO registry_application;
