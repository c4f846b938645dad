-- Whether the account may act as the registrar. No name is nobody: an act without one is not the registrar's.
CREATE OR REPLACE FUNCTION people_is_registrar(account bigint) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM public.people_account WHERE id = account AND is_active AND kind = 'registrar')
$$;

-- Whether the owner of the tables is signed in. session_user is who signed in, so that no function that runs with the
-- owner's rights passes for the owner.
CREATE OR REPLACE FUNCTION people_owner_is_here() RETURNS boolean
LANGUAGE sql STABLE SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = 'public.people_account'::regclass), 'MEMBER')
$$;

-- An account is what it was opened as.
CREATE OR REPLACE FUNCTION people_account_keeps_its_kind() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_owner_is_here() THEN
        PERFORM public.registry_refuse('an_account_keeps_its_kind');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER keeps_its_kind BEFORE UPDATE ON people_account FOR EACH ROW
    WHEN ((OLD.id, OLD.kind, OLD.employer_id, OLD.worker_id, OLD.is_superuser, OLD.is_staff, OLD.date_joined)
        IS DISTINCT FROM (NEW.id, NEW.kind, NEW.employer_id, NEW.worker_id, NEW.is_superuser, NEW.is_staff, NEW.date_joined))
    EXECUTE FUNCTION people_account_keeps_its_kind();
CREATE OR REPLACE TRIGGER has_no_powers BEFORE INSERT ON people_account FOR EACH ROW
    WHEN (NEW.is_superuser OR NEW.is_staff) EXECUTE FUNCTION people_account_keeps_its_kind();

-- Who reads everything or ends what keeps people off the crews was invited to, whoever writes the row.
CREATE OR REPLACE FUNCTION people_account_was_invited() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    -- Where recorded_at is unchecked, in test databases, accounts are opened without ado.
    IF NOT public.people_owner_is_here()
       AND NOT EXISTS (SELECT FROM public.database_policy WHERE recorded_at_tolerance IS NULL)
       AND NOT EXISTS (SELECT FROM public.people_invitation WHERE account_id = NEW.id AND kind = NEW.kind) THEN
        PERFORM public.registry_refuse('inspectors_and_registrars_are_invited');
    END IF;
    RETURN NULL;
END
$$;
DROP TRIGGER IF EXISTS was_invited ON people_account;
CREATE CONSTRAINT TRIGGER was_invited AFTER INSERT ON people_account DEFERRABLE INITIALLY DEFERRED FOR EACH ROW
    WHEN (NEW.kind IN ('inspector', 'registrar')) EXECUTE FUNCTION people_account_was_invited();

-- Inspectors and registrars are invited by a registrar. The first one is invited where there is none yet, and until
-- then the command line invites and closes without a name.
CREATE OR REPLACE FUNCTION people_invitation_names_who_invites() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF public.people_is_registrar(NEW.invited_by_id) OR public.people_owner_is_here() THEN
        RETURN NEW;
    END IF;
    IF NEW.invited_by_id IS NOT NULL AND NEW.kind IN ('inspector', 'registrar') THEN
        PERFORM public.registry_refuse('only_the_registrar_invites_inspectors');
    END IF;
    IF NEW.invited_by_id IS NULL
       AND EXISTS (SELECT FROM public.people_account WHERE kind = 'registrar' AND is_active) THEN
        PERFORM public.registry_refuse('an_act_of_the_registrar_names_the_registrar');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_who_invites BEFORE INSERT ON people_invitation
    FOR EACH ROW EXECUTE FUNCTION people_invitation_names_who_invites();

CREATE OR REPLACE FUNCTION people_closing_names_who_closes() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_owner_is_here()
       AND EXISTS (SELECT FROM public.people_account WHERE kind = 'registrar' AND is_active) THEN
        PERFORM public.registry_refuse('an_act_of_the_registrar_names_the_registrar');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER names_who_closes BEFORE INSERT ON people_closedaccount FOR EACH ROW
    WHEN (NEW.recorded_by_id IS NULL) EXECUTE FUNCTION people_closing_names_who_closes();

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
        PERFORM public.registry_refuse('an_identity_is_checked_from_outside');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER checked_from_outside BEFORE INSERT ON people_identitycheck
    FOR EACH ROW EXECUTE FUNCTION people_identity_is_checked_from_outside();
