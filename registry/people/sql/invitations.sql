-- An invitation is accepted once and in time. An account that was closed meanwhile ends the invitations it sent, and a
-- later invitation of the same person ends the earlier. Those to an account of the same worker, sent before theirs was
-- closed, end too: whoever had an account is let in by a new invitation.
CREATE OR REPLACE FUNCTION people_invitation_is_accepted_once() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF OLD.accepted_at IS NOT NULL THEN
        PERFORM public.registry_refuse('an_invitation_is_accepted_once');
    END IF;
    IF (OLD.id, OLD.token_hash, OLD.kind, OLD.invited_at, OLD.expires_at)
           IS DISTINCT FROM (NEW.id, NEW.token_hash, NEW.kind, NEW.invited_at, NEW.expires_at)
       OR (OLD.employer_id, OLD.worker_id, OLD.invited_by_id, OLD.way, OLD.address)
           IS DISTINCT FROM (NEW.employer_id, NEW.worker_id, NEW.invited_by_id, NEW.way, NEW.address) THEN
        PERFORM public.registry_refuse('records_are_never_changed');
    END IF;
    IF NEW.accepted_at > OLD.expires_at OR clock_timestamp() > OLD.expires_at THEN
        PERFORM public.registry_refuse('an_invitation_is_accepted_in_time');
    END IF;
    -- A closing that is under way is waited for.
    PERFORM FROM public.people_account WHERE id = OLD.invited_by_id FOR SHARE;
    IF EXISTS (
        SELECT FROM public.people_closedaccount closing
        JOIN public.people_account closed ON closed.id = closing.account_id
        WHERE closed.id = OLD.invited_by_id
           OR closed.worker_id = OLD.worker_id AND closing.recorded_at >= OLD.invited_at
    ) THEN
        PERFORM public.registry_refuse('an_invitation_ends_with_a_closed_account');
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
        PERFORM public.registry_refuse('an_invitation_ends_with_the_next_one');
    END IF;
    IF NOT EXISTS (
        SELECT FROM public.people_account account
        WHERE account.id = NEW.account_id
          AND (account.kind, account.employer_id, account.worker_id)
              IS NOT DISTINCT FROM (OLD.kind, OLD.employer_id, OLD.worker_id)
    ) THEN
        PERFORM public.registry_refuse('an_invitation_opens_the_account_it_is_for');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER accepted_once BEFORE UPDATE ON people_invitation
    FOR EACH ROW EXECUTE FUNCTION people_invitation_is_accepted_once();

-- Who invites whom, and which way the link goes. A dispatcher's invitation goes by mail to an address of the person's
-- own; whoever has or had an account is let in again by the registrar alone.
CREATE OR REPLACE FUNCTION people_invitation_starts_open() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    inviter public.people_account;
    today date := (NEW.invited_at AT TIME ZONE 'UTC')::date;
BEGIN
    IF NEW.accepted_at IS NOT NULL THEN
        PERFORM public.registry_refuse('an_invitation_is_accepted_once');
    END IF;
    -- Two invitations to one address would not see each other.
    PERFORM pg_advisory_xact_lock(hashtextextended('invitations', 0));
    SELECT * INTO inviter FROM public.people_account WHERE id = NEW.invited_by_id;
    IF inviter.id IS NOT NULL AND NOT inviter.is_active THEN
        PERFORM public.registry_refuse('a_closed_account_invites_nobody');
    END IF;
    IF inviter.kind = 'worker' OR inviter.kind = 'inspector' AND NEW.kind <> 'worker' THEN
        PERFORM public.registry_refuse('workers_invite_nobody');
    ELSIF inviter.kind = 'inspector' AND NEW.way <> 'paper' THEN
        PERFORM public.registry_refuse('an_inspector_hands_the_code_over');
    ELSIF inviter.kind = 'employer' AND NEW.way <> 'mail' THEN
        PERFORM public.registry_refuse('an_employers_invitation_goes_by_mail');
    ELSIF inviter.kind = 'employer' AND NOT (
        NEW.kind = 'employer' AND NEW.employer_id = inviter.employer_id
        OR NEW.kind = 'worker' AND EXISTS (
            SELECT FROM public.people_employment employment
            WHERE employment.worker_id = NEW.worker_id AND employment.employer_id = inviter.employer_id
              AND NOT employment.withdrawn AND employment.start <= today
              AND (employment."end" IS NULL OR employment."end" >= today)
              AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = employment.id))
    ) THEN
        PERFORM public.registry_refuse('dispatchers_invite_their_own');
    ELSIF EXISTS (SELECT FROM public.people_account WHERE worker_id = NEW.worker_id AND is_active) THEN
        PERFORM public.registry_refuse('a_worker_has_one_open_account');
    ELSIF inviter.kind IN ('employer', 'inspector')
          AND EXISTS (SELECT FROM public.people_account WHERE worker_id = NEW.worker_id) THEN
        PERFORM public.registry_refuse('the_registrar_lets_in_again');
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
        PERFORM public.registry_refuse('an_invitation_goes_to_the_persons_own_address');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER starts_open BEFORE INSERT ON people_invitation
    FOR EACH ROW EXECUTE FUNCTION people_invitation_starts_open();
