-- Who needs a place filled does not take back what keeps somebody off it; without an account it is the registrar,
-- at the command line.
CREATE FUNCTION evidence_a_bar_is_the_registrars() RETURNS trigger
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
CREATE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_standdown FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL AND NEW.recorded_by_id IS NOT NULL)
    EXECUTE FUNCTION evidence_a_bar_is_the_registrars();
CREATE TRIGGER a_bar_is_the_registrars BEFORE INSERT ON evidence_certificationstatus FOR EACH ROW
    WHEN (NEW.supersedes_id IS NOT NULL AND NEW.recorded_by_id IS NOT NULL)
    EXECUTE FUNCTION evidence_a_bar_is_the_registrars();

-- A certificate's number as people would hold two to be one.
CREATE FUNCTION evidence_folded_number(number text) RETURNS text LANGUAGE sql IMMUTABLE AS $$
    SELECT lower(regexp_replace(number, '[^[:alnum:]]', '', 'g'))
$$;

-- What was suspended or revoked does not come back as a new record, spelt otherwise or not.
CREATE FUNCTION evidence_certificate_is_not_taken_out() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF EXISTS (
        SELECT FROM public.evidence_certification taken
        JOIN public.evidence_certificationstatus status ON status.certification_id = taken.id
        WHERE taken.worker_id = NEW.worker_id AND taken.scheme = NEW.scheme
          AND public.evidence_folded_number(taken.number) = public.evidence_folded_number(NEW.number)
          AND status.status IN ('suspended', 'revoked') AND NOT status.withdrawn
          AND NEW.issued <= (status.effective_at AT TIME ZONE 'UTC')::date
          AND NOT EXISTS (
              SELECT FROM public.evidence_certificationstatus later
              WHERE later.supersedes_id = status.id
                 OR status.status = 'suspended' AND later.status = 'reinstated'
                    AND later.worker_id = status.worker_id AND NOT later.withdrawn
                    AND later.effective_at >= status.effective_at
                    AND later.certification_id = status.certification_id
                    AND NOT EXISTS (
                        SELECT FROM public.evidence_certificationstatus last WHERE last.supersedes_id = later.id)
          )
    ) AND NOT EXISTS (
        -- A correction keeps the number, and with it what was said of the certificate.
        SELECT FROM public.evidence_certification before
        WHERE before.id = NEW.supersedes_id
          AND public.evidence_folded_number(before.number) = public.evidence_folded_number(NEW.number)
    ) THEN
        RAISE EXCEPTION 'a certificate of this number is suspended or revoked'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'a_certificate_taken_out_is_not_recorded_anew';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER certificate_is_not_taken_out BEFORE INSERT ON evidence_certification
    FOR EACH ROW EXECUTE FUNCTION evidence_certificate_is_not_taken_out();
