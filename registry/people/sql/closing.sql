-- Closing an account is recording who closed it and why: the record alone takes the account out of use.
CREATE FUNCTION people_account_may_be_closed() RETURNS trigger
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
        RAISE EXCEPTION 'the account is closed'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'an_account_is_closed_once';
    END IF;
    IF closer.id = closed.id THEN
        RAISE EXCEPTION 'nobody closes their own account'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'nobody_closes_their_own_account';
    END IF;
    IF closer.id IS NOT NULL AND (
        NOT closer.is_active OR closer.kind <> 'employer' OR closer.employer_id IS DISTINCT FROM closed.employer_id
    ) THEN
        RAISE EXCEPTION 'dispatchers close accounts of their own employer'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'dispatchers_close_accounts_of_their_own_employer';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER may_be_closed BEFORE INSERT ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION people_account_may_be_closed();

CREATE FUNCTION people_account_is_closed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    UPDATE public.people_account SET is_active = false WHERE id = NEW.account_id;
    RETURN NULL;
END
$$;
CREATE TRIGGER is_closed AFTER INSERT ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION people_account_is_closed();

-- An account is closed in no other way than by its record, or by an erasure, and never opened again. session_user is who
-- signed in, so no function that runs with the owner's rights passes for an erasure.
CREATE FUNCTION people_account_stays_closed() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.is_active THEN
        RAISE EXCEPTION 'a closed account stays closed'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'a_closed_account_stays_closed';
    END IF;
    IF NOT EXISTS (SELECT FROM public.people_closedaccount WHERE account_id = NEW.id) AND NOT (
        current_setting('registry.erasing', true) = 'on'
        AND pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'MEMBER')
    ) THEN
        RAISE EXCEPTION 'closing an account is recorded'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'closing_an_account_is_recorded';
    END IF;
    RETURN NEW;
END
$$;
CREATE TRIGGER stays_closed BEFORE UPDATE ON people_account
    FOR EACH ROW WHEN (OLD.is_active IS DISTINCT FROM NEW.is_active) EXECUTE FUNCTION people_account_stays_closed();

CREATE TRIGGER never_changed BEFORE UPDATE OR DELETE ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION evidence_refuse_change();
CREATE TRIGGER recorded_now BEFORE INSERT ON people_closedaccount
    FOR EACH ROW EXECUTE FUNCTION evidence_recorded_now();
INSERT INTO retention_erasable (table_name, columns) VALUES ('people_closedaccount', '{reason}');

-- As before, and an account that was closed meanwhile ends the invitations it sent. Those to an account of the same
-- worker, sent before theirs was closed, end too: a closed account is opened anew by a new invitation.
CREATE OR REPLACE FUNCTION people_invitation_is_accepted_once() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF OLD.accepted_at IS NOT NULL THEN
        RAISE EXCEPTION 'the invitation has been accepted'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'an_invitation_is_accepted_once';
    END IF;
    IF (OLD.id, OLD.token_hash, OLD.kind, OLD.invited_at, OLD.expires_at)
           IS DISTINCT FROM (NEW.id, NEW.token_hash, NEW.kind, NEW.invited_at, NEW.expires_at)
       OR (OLD.employer_id, OLD.worker_id, OLD.invited_by_id, OLD.way, OLD.address)
           IS DISTINCT FROM (NEW.employer_id, NEW.worker_id, NEW.invited_by_id, NEW.way, NEW.address) THEN
        RAISE EXCEPTION 'an invitation is accepted or left as it is'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'records_are_never_changed';
    END IF;
    IF NEW.accepted_at > OLD.expires_at OR clock_timestamp() > OLD.expires_at THEN
        RAISE EXCEPTION 'the invitation has run out'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_invitation_is_accepted_in_time';
    END IF;
    -- A closing that is under way is waited for.
    PERFORM FROM public.people_account WHERE id = OLD.invited_by_id FOR SHARE;
    IF EXISTS (
        SELECT FROM public.people_closedaccount closing
        JOIN public.people_account closed ON closed.id = closing.account_id
        WHERE closed.id = OLD.invited_by_id
           OR closed.worker_id = OLD.worker_id AND closing.recorded_at >= OLD.invited_at
    ) THEN
        RAISE EXCEPTION 'an account was closed since'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'an_invitation_ends_with_a_closed_account';
    END IF;
    -- Two invitations of one person never open side by side: the later one ended this.
    IF EXISTS (
        SELECT FROM public.people_invitation later
        WHERE later.id > OLD.id
          AND (later.worker_id = OLD.worker_id
               OR OLD.worker_id IS NULL AND later.address <> '' AND later.kind = OLD.kind
                  AND later.employer_id IS NOT DISTINCT FROM OLD.employer_id
                  AND public.people_address_key(later.address) = public.people_address_key(OLD.address))
    ) THEN
        RAISE EXCEPTION 'the person was invited again since'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'an_invitation_ends_with_the_next_one';
    END IF;
    IF NOT EXISTS (
        SELECT FROM public.people_account account
        WHERE account.id = NEW.account_id
          AND (account.kind, account.employer_id, account.worker_id)
              IS NOT DISTINCT FROM (OLD.kind, OLD.employer_id, OLD.worker_id)
    ) THEN
        RAISE EXCEPTION 'the account is not the one the invitation is for'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_invitation_opens_the_account_it_is_for';
    END IF;
    RETURN NEW;
END
$$;

-- Who invites whom, and which way the link goes. A dispatcher's invitation goes by mail to an address of the person's
-- own; whoever has or had an account is let in again by the registrar alone.
CREATE OR REPLACE FUNCTION people_invitation_starts_open() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    inviter public.people_account;
    today date := (NEW.invited_at AT TIME ZONE 'UTC')::date;
    broken text;
BEGIN
    IF NEW.accepted_at IS NOT NULL THEN
        RAISE EXCEPTION 'an invitation starts open'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_invitation_is_accepted_once';
    END IF;
    -- Two invitations to one address would not see each other.
    PERFORM pg_advisory_xact_lock(hashtextextended('invitations', 0));
    SELECT * INTO inviter FROM public.people_account WHERE id = NEW.invited_by_id;
    IF inviter.id IS NOT NULL AND NOT inviter.is_active THEN
        RAISE EXCEPTION 'a closed account invites nobody'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'a_closed_account_invites_nobody';
    END IF;
    IF inviter.kind = 'worker' OR inviter.kind = 'inspector' AND NEW.kind <> 'worker' THEN
        broken := 'workers_invite_nobody';
    ELSIF inviter.kind = 'inspector' AND NEW.way <> 'paper' THEN
        broken := 'an_inspector_hands_the_code_over';
    ELSIF inviter.kind = 'employer' AND NEW.way <> 'mail' THEN
        broken := 'an_employers_invitation_goes_by_mail';
    ELSIF inviter.kind = 'employer' AND NOT (
        NEW.kind = 'employer' AND NEW.employer_id = inviter.employer_id
        OR NEW.kind = 'worker' AND EXISTS (
            SELECT FROM public.people_employment employment
            WHERE employment.worker_id = NEW.worker_id AND employment.employer_id = inviter.employer_id
              AND NOT employment.withdrawn AND employment.start <= today
              AND (employment."end" IS NULL OR employment."end" >= today)
              AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id))
    ) THEN
        broken := 'dispatchers_invite_their_own';
    ELSIF EXISTS (SELECT FROM public.people_account WHERE worker_id = NEW.worker_id AND is_active) THEN
        broken := 'a_worker_has_one_open_account';
    ELSIF inviter.kind IN ('employer', 'inspector')
          AND EXISTS (SELECT FROM public.people_account WHERE worker_id = NEW.worker_id) THEN
        broken := 'the_registrar_lets_in_again';
    ELSIF NEW.way = 'mail' AND (
        EXISTS (
            SELECT FROM public.people_account account
            WHERE account.email <> '' AND public.people_address_key(account.email)
                = public.people_address_key(NEW.address)
              AND account.worker_id IS DISTINCT FROM NEW.worker_id)
        OR EXISTS (
            SELECT FROM public.people_account account
            WHERE account.email <> '' AND NEW.worker_id IS NULL
              AND public.people_address_key(account.email) = public.people_address_key(NEW.address))
        OR EXISTS (
            SELECT FROM public.people_invitation other
            WHERE other.address <> ''
              AND public.people_address_key(other.address) = public.people_address_key(NEW.address)
              AND (other.kind, other.employer_id, other.worker_id)
                  IS DISTINCT FROM (NEW.kind, NEW.employer_id, NEW.worker_id))
    ) THEN
        broken := 'an_invitation_goes_to_the_persons_own_address';
    END IF;
    IF broken IS NOT NULL THEN
        RAISE EXCEPTION 'this invitation may not be sent' USING ERRCODE = 'check_violation', CONSTRAINT = broken;
    END IF;
    RETURN NEW;
END
$$;
