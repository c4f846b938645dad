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
       OR (OLD.employer_id, OLD.worker_id, OLD.invited_by_id)
           IS DISTINCT FROM (NEW.employer_id, NEW.worker_id, NEW.invited_by_id) THEN
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
CREATE OR REPLACE TRIGGER accepted_once BEFORE UPDATE ON people_invitation
    FOR EACH ROW EXECUTE FUNCTION people_invitation_is_accepted_once();

-- As before, and nobody is invited by an account that is closed.
CREATE OR REPLACE FUNCTION people_invitation_starts_open() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NEW.accepted_at IS NOT NULL THEN
        RAISE EXCEPTION 'an invitation starts open'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'an_invitation_is_accepted_once';
    END IF;
    IF EXISTS (SELECT FROM people_account WHERE id = NEW.invited_by_id AND NOT is_active) THEN
        RAISE EXCEPTION 'a closed account invites nobody'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'a_closed_account_invites_nobody';
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER starts_open BEFORE INSERT ON people_invitation
    FOR EACH ROW EXECUTE FUNCTION people_invitation_starts_open();
