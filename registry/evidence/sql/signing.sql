-- A signature in the register is given through the signer's own account, which has a second factor at that time. What
-- is known from paper alone says so by its entry's origin; only the owner brings in the signatures of an old register.
CREATE OR REPLACE FUNCTION evidence_signer_signs_with_their_own_account() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    account public.people_account;
BEGIN
    IF NEW.recorded_by_id IS NULL THEN
        IF session_user <> current_user
           AND EXISTS (SELECT FROM public.database_policy WHERE recorded_at_tolerance IS NOT NULL)
           AND EXISTS (SELECT FROM public.evidence_hoursentry WHERE id = NEW.entry_id AND origin = 'register') THEN
            PERFORM public.registry_refuse('a_signature_without_an_account_has_its_paper');
        END IF;
        RETURN NEW;
    END IF;
    -- A closing, or the removal of the second factor, that is under way is waited for.
    SELECT * INTO account FROM public.people_account WHERE id = NEW.recorded_by_id FOR SHARE;
    IF account.worker_id IS DISTINCT FROM NEW.by_id THEN
        PERFORM public.registry_refuse('signer_signs_with_their_own_account');
    ELSIF NOT account.is_active THEN
        PERFORM public.registry_refuse('a_closed_account_signs_nothing');
    ELSIF NOT public.evidence_has_second_factor(account.id) THEN
        PERFORM public.registry_refuse('a_signer_has_a_second_factor');
    END IF;
    RETURN NEW;
END
$$;

-- Recovery codes alone are no second factor: they stand in for one.
CREATE OR REPLACE FUNCTION evidence_has_second_factor(account bigint) RETURNS boolean
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.mfa_authenticator WHERE user_id = account AND type IN ('totp', 'webauthn') FOR KEY SHARE;
    RETURN FOUND;
END
$$;

CREATE OR REPLACE TRIGGER signer_signs_with_their_own_account BEFORE INSERT ON evidence_countersignature
    FOR EACH ROW EXECUTE FUNCTION evidence_signer_signs_with_their_own_account();

-- An employer's own assessment is its assessor's word: no other account records, corrects or takes it back. But a
-- registrar brings in the paper of an older one, and takes back, with a reason, that somebody was found not yet
-- competent: the assessor may be gone (bars.sql).
CREATE OR REPLACE FUNCTION evidence_assessor_records_with_their_own_account() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    account public.people_account;
BEGIN
    SELECT * INTO account FROM public.people_account WHERE id = NEW.recorded_by_id FOR SHARE;
    IF account.kind <> 'worker' AND NEW.third_party <> '' THEN
        RETURN NEW;
    ELSIF account.kind = 'registrar' AND account.is_active
        AND (NEW.supersedes_id IS NULL AND NEW.document_id IS NOT NULL
             OR NEW.supersedes_id IS NOT NULL AND NEW.outcome <> 'pass')
    THEN
        RETURN NEW;
    ELSIF account.worker_id IS DISTINCT FROM NEW.assessor_id THEN
        PERFORM public.registry_refuse('assessor_records_with_their_own_account');
    ELSIF NOT account.is_active THEN
        PERFORM public.registry_refuse('a_closed_account_signs_nothing');
    ELSIF NOT public.evidence_has_second_factor(account.id) THEN
        PERFORM public.registry_refuse('a_signer_has_a_second_factor');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER assessor_records_with_their_own_account BEFORE INSERT ON evidence_assessment
    FOR EACH ROW WHEN (NEW.recorded_by_id IS NOT NULL)
    EXECUTE FUNCTION evidence_assessor_records_with_their_own_account();

-- Only what somebody signed, or what was signed in their name, is theirs to deny, through their own account.
CREATE OR REPLACE FUNCTION evidence_denied_signature_is_the_persons() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    signer bigint;
BEGIN
    IF NEW.record_kind = 'countersignature' THEN
        SELECT by_id INTO signer FROM public.evidence_countersignature WHERE id = NEW.record_id;
    ELSE
        SELECT assessor_id INTO signer FROM public.evidence_assessment WHERE id = NEW.record_id;
    END IF;
    IF signer IS DISTINCT FROM NEW.by_id OR NOT EXISTS (
        SELECT FROM public.people_account WHERE id = NEW.recorded_by_id AND worker_id = NEW.by_id AND is_active
    ) THEN
        PERFORM public.registry_refuse('a_denied_signature_is_in_the_persons_name');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER is_in_the_persons_name BEFORE INSERT ON evidence_deniedsignature
    FOR EACH ROW EXECUTE FUNCTION evidence_denied_signature_is_the_persons();
