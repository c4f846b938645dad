-- An address as a mail server would deliver it: case does not matter, and what follows a plus sign leads to the same box
-- (RFC 5233).
CREATE OR REPLACE FUNCTION people_address_key(address text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT regexp_replace(lower(address), '\+[^@]*@', '@')
$$;
CREATE INDEX IF NOT EXISTS people_account_by_address ON people_account (people_address_key(email)) WHERE email <> '';
CREATE INDEX IF NOT EXISTS people_invitation_by_address ON people_invitation (people_address_key(address)) WHERE address <> '';

-- Whoever confirms that they saw the person profits from nothing the person signs.
CREATE OR REPLACE FUNCTION people_identity_is_checked_from_outside() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT EXISTS (
        SELECT FROM public.people_account
        WHERE id = NEW.recorded_by_id AND is_active AND kind IN ('registrar', 'inspector') AND id <> NEW.account_id
    ) THEN
        RAISE EXCEPTION 'the registrar or an inspector checks an identity'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_identity_is_checked_from_outside';
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER checked_from_outside BEFORE INSERT ON people_identitycheck
    FOR EACH ROW EXECUTE FUNCTION people_identity_is_checked_from_outside();
