-- An act names an account that may do it: open, and of a kind that the table names as the trigger's arguments. With
-- 'worker:by_id' it is that worker's own account, with 'employer:employer_id' one of that employer's. The owner brings
-- in old registers, and where recorded_at is unchecked, in test databases and while a demonstration is made, an act may
-- come from nobody.
CREATE OR REPLACE FUNCTION people_act_names_its_account() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    account public.people_account;
    kind text;
    subject text;
    own bigint;
BEGIN
    IF session_user = current_user THEN
        RETURN NEW;
    END IF;
    IF NEW.recorded_by_id IS NULL THEN
        IF EXISTS (SELECT FROM public.database_policy WHERE recorded_at_tolerance IS NULL) THEN
            RETURN NEW;
        END IF;
    ELSE
        SELECT * INTO account FROM public.people_account WHERE id = NEW.recorded_by_id AND is_active;
        FOR place IN 0 .. TG_NARGS - 1 LOOP
            kind := split_part(TG_ARGV[place], ':', 1);
            subject := split_part(TG_ARGV[place], ':', 2);
            CONTINUE WHEN account.kind IS DISTINCT FROM kind;
            own := CASE kind WHEN 'worker' THEN account.worker_id WHEN 'employer' THEN account.employer_id END;
            IF subject = '' OR (to_jsonb(NEW) ->> subject)::bigint = own THEN
                RETURN NEW;
            END IF;
        END LOOP;
    END IF;
    PERFORM public.registry_refuse('an_act_names_an_account_that_may_do_it');
END
$$;
