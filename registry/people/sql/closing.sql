-- Closing an account is recording who closed it and why: the record alone takes the account out of use.
CREATE OR REPLACE FUNCTION people_account_may_be_closed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    closed public.people_account;
    closer public.people_account;
BEGIN
    -- Two who close each other's accounts wait for each other here, and the second finds their own closed: whoever
    -- closes stays open, so that no employer's last account is closed by a dispatcher.
    PERFORM FROM public.people_account WHERE id IN (NEW.account_id, NEW.recorded_by_id) ORDER BY id FOR NO KEY UPDATE;
    SELECT * INTO closed FROM public.people_account WHERE id = NEW.account_id;
    SELECT * INTO closer FROM public.people_account WHERE id = NEW.recorded_by_id;
    IF NOT closed.is_active THEN
        PERFORM public.registry_refuse('an_account_is_closed_once');
    END IF;
    IF closer.id = closed.id THEN
        PERFORM public.registry_refuse('nobody_closes_their_own_account');
    END IF;
    IF closer.id IS NOT NULL AND NOT public.people_is_registrar(closer.id) AND (
        NOT closer.is_active OR closer.kind <> 'employer' OR closer.employer_id IS DISTINCT FROM closed.employer_id
    ) THEN
        PERFORM public.registry_refuse('dispatchers_close_accounts_of_their_own_employer');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER may_be_closed BEFORE INSERT ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION people_account_may_be_closed();

CREATE OR REPLACE FUNCTION people_account_is_closed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    UPDATE public.people_account SET is_active = false WHERE id = NEW.account_id;
    RETURN NULL;
END
$$;
CREATE OR REPLACE TRIGGER is_closed AFTER INSERT ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION people_account_is_closed();

-- An account is closed in no other way than by its record, or by an erasure, and never opened again. session_user is who
-- signed in, so no function that runs with the owner's rights passes for an erasure.
CREATE OR REPLACE FUNCTION people_account_stays_closed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.is_active THEN
        PERFORM public.registry_refuse('a_closed_account_stays_closed');
    END IF;
    IF NOT EXISTS (SELECT FROM public.people_closedaccount WHERE account_id = NEW.id) AND NOT (
        current_setting('registry.erasing', true) = 'on'
        AND pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'MEMBER')
    ) THEN
        PERFORM public.registry_refuse('closing_an_account_is_recorded');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER stays_closed BEFORE UPDATE ON people_account
    FOR EACH ROW WHEN (OLD.is_active IS DISTINCT FROM NEW.is_active) EXECUTE FUNCTION people_account_stays_closed();
