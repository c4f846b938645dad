-- Who needs a place filled does not take back what keeps somebody off it; without an account it is the registrar,
-- at the command line.
CREATE OR REPLACE FUNCTION evidence_a_bar_is_the_registrars() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF TG_TABLE_NAME = 'evidence_certificationstatus' AND NOT EXISTS (
        SELECT FROM public.evidence_certificationstatus
        WHERE id = NEW.supersedes_id AND status IN ('suspended', 'revoked')
    ) THEN
        RETURN NEW;
    END IF;
    RAISE EXCEPTION 'a bar is taken back by the registrar'
        USING ERRCODE = 'check_violation', CONSTRAINT = 'only_the_registrar_takes_back_a_bar';
END
$$;
CREATE OR REPLACE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_standdown FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL AND NEW.recorded_by_id IS NOT NULL)
    EXECUTE FUNCTION evidence_a_bar_is_the_registrars();
CREATE OR REPLACE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_certificationstatus FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL AND NEW.recorded_by_id IS NOT NULL)
    EXECUTE FUNCTION evidence_a_bar_is_the_registrars();

-- A certificate's number as people would hold two to be one.
CREATE OR REPLACE FUNCTION evidence_folded_number(number text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT lower(regexp_replace(number, '[^[:alnum:]]', '', 'g'))
$$;

-- What was suspended or revoked does not come back as a new record, spelt otherwise or not, nor by correcting another.
CREATE OR REPLACE FUNCTION evidence_certificate_is_not_taken_out() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.withdrawn THEN
        RETURN NEW;
    END IF;
    IF EXISTS (
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
        SELECT FROM version JOIN public.evidence_certification taken ON taken.id = version.id
        WHERE taken.scheme = NEW.scheme
          AND public.evidence_folded_number(taken.number) = public.evidence_folded_number(NEW.number)
          AND NEW.issued <= (version.effective_at AT TIME ZONE 'UTC')::date
          -- What is said of a certificate goes with its corrections.
          AND NOT EXISTS (SELECT FROM version own WHERE own.bar = version.bar AND own.id = NEW.supersedes_id)
    ) THEN
        RAISE EXCEPTION 'a certificate of this number is suspended or revoked'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'a_certificate_taken_out_is_not_recorded_anew';
    END IF;
    -- A second spelling would stay in force when the first is revoked.
    IF NEW.supersedes_id IS NULL AND EXISTS (
        SELECT FROM public.evidence_certification same
        WHERE same.worker_id = NEW.worker_id AND same.scheme = NEW.scheme AND same.issued = NEW.issued
          AND NOT same.withdrawn
          AND public.evidence_folded_number(same.number) = public.evidence_folded_number(NEW.number)
          AND NOT EXISTS (SELECT FROM public.evidence_certification later WHERE later.supersedes_id = same.id)
    ) THEN
        RAISE EXCEPTION 'this certificate is recorded already'
            USING ERRCODE = 'unique_violation', CONSTRAINT = 'certificate_is_recorded_once';
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER certificate_is_not_taken_out BEFORE INSERT ON evidence_certification
    FOR EACH ROW EXECUTE FUNCTION evidence_certificate_is_not_taken_out();
