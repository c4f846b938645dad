-- Somebody whom the register knows is taken on with their own consent, or by the registrar. Until then nothing of them
-- is an employer's to see, to count or to bar.

-- Whether a record is the registrar's word: of a registrar's open account, or of the owner, who brings in old registers
-- (and in test databases and demonstrations switches the guard of recorded_at off).
CREATE OR REPLACE FUNCTION people_is_the_registrars_word(account bigint) RETURNS boolean
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF account IS NULL THEN
        RETURN session_user = current_user
            OR EXISTS (SELECT FROM public.database_policy WHERE recorded_at_tolerance IS NULL);
    END IF;
    RETURN EXISTS (SELECT FROM public.people_account WHERE id = account AND kind = 'registrar' AND is_active);
END
$$;

CREATE OR REPLACE FUNCTION people_is_open_account_of(account bigint, worker bigint) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM public.people_account
                   WHERE id = account AND kind = 'worker' AND worker_id = worker AND is_active)
$$;

CREATE OR REPLACE FUNCTION people_is_open_account_at(account bigint, employer bigint) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM public.people_account
                   WHERE id = account AND kind = 'employer' AND employer_id = employer AND is_active)
$$;

CREATE OR REPLACE FUNCTION people_employer_asks_for_itself() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_open_account_at(NEW.recorded_by_id, NEW.employer_id) THEN
        PERFORM public.registry_refuse('an_employer_asks_for_itself');
    END IF;
    RETURN NEW;
END
$$;

-- A request is answered once, by the person.
CREATE OR REPLACE FUNCTION people_request_is_declined_by_the_person() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    asked public.people_employmentrequest;
BEGIN
    SELECT * INTO asked FROM public.people_employmentrequest WHERE id = NEW.request_id FOR NO KEY UPDATE;
    IF NOT public.people_is_open_account_of(NEW.recorded_by_id, asked.worker_id) THEN
        PERFORM public.registry_refuse('consent_is_the_persons_own');
    END IF;
    IF EXISTS (SELECT FROM public.people_employmentconsent WHERE request_id = asked.id) THEN
        PERFORM public.registry_refuse('a_request_is_answered_once');
    END IF;
    RETURN NEW;
END
$$;

CREATE OR REPLACE FUNCTION people_code_is_made_by_its_worker() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF NOT public.people_is_open_account_of(NEW.recorded_by_id, NEW.worker_id) THEN
        PERFORM public.registry_refuse('consent_is_the_persons_own');
    END IF;
    RETURN NEW;
END
$$;

CREATE OR REPLACE FUNCTION people_consent_is_the_persons_own() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    given boolean;
BEGIN
    IF NEW.how = 'own_account' THEN
        PERFORM FROM public.people_employmentrequest WHERE id = NEW.request_id FOR NO KEY UPDATE;
        IF EXISTS (SELECT FROM public.people_employmentdecline WHERE request_id = NEW.request_id) THEN
            PERFORM public.registry_refuse('a_request_is_answered_once');
        END IF;
        given := public.people_is_open_account_of(NEW.recorded_by_id, NEW.worker_id) AND EXISTS (
            SELECT FROM public.people_employmentrequest asked
            WHERE asked.id = NEW.request_id AND asked.worker_id = NEW.worker_id
              AND asked.employer_id = NEW.employer_id AND asked.start = NEW.start);
    ELSIF NEW.how = 'code' THEN
        -- Who has the code typed it: its SHA-256 alone, which the tables hold, does not give it away.
        given := public.people_is_open_account_at(NEW.recorded_by_id, NEW.employer_id) AND EXISTS (
            SELECT FROM public.people_employmentcode made
            WHERE made.id = NEW.code_id AND made.worker_id = NEW.worker_id
              AND (made.employer_id IS NULL OR made.employer_id = NEW.employer_id)
              AND made.start <= NEW.start AND made.expires_at > clock_timestamp()
              AND made.code_hash = encode(sha256(convert_to(NEW.code_typed, 'UTF8')), 'hex')
              AND EXISTS (SELECT FROM public.people_account
                          WHERE id = made.recorded_by_id AND is_active));
    ELSE
        given := public.people_is_the_registrars_word(NEW.recorded_by_id);
    END IF;
    IF given IS NOT TRUE THEN
        PERFORM public.registry_refuse('consent_is_the_persons_own');
    END IF;
    RETURN NEW;
END
$$;

-- Somebody is taken on without consent only where the employer learns of nobody else's records by it: the person was
-- registered by that very employer, has no account and was never on other books. A period that the employer's own
-- records of employment cover already, such as a corrected last day that comes earlier, opens nothing new.
CREATE OR REPLACE FUNCTION people_taken_on_with_consent() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    wanted daterange;
    covered datemultirange;
    today date := (NEW.recorded_at AT TIME ZONE 'UTC')::date;
    registered_by bigint;
    still_there boolean;
    before public.people_employment;
BEGIN
    -- Two who take on one person wait for each other here, and the second sees the first.
    PERFORM FROM public.people_worker WHERE id = NEW.worker_id FOR NO KEY UPDATE;
    -- A person leaves from now on: not so that what happened yesterday was on nobody's books.
    SELECT * INTO before FROM public.people_employment WHERE id = NEW.supersedes_id;
    IF EXISTS (SELECT FROM public.people_account
               WHERE id = NEW.recorded_by_id AND kind = 'employer' AND employer_id <> before.employer_id) THEN
        PERFORM public.registry_refuse('an_employer_corrects_its_own_records');
    END IF;
    IF before.id IS NOT NULL AND public.people_is_open_account_of(NEW.recorded_by_id, NEW.worker_id) THEN
        IF NEW.withdrawn OR NEW.employer_id <> before.employer_id OR NEW.start <> before.start
           OR NEW."end" IS NULL OR NEW."end" < today - 1 OR NEW."end" > before."end" THEN
            PERFORM public.registry_refuse('a_person_leaves_from_now_on');
        END IF;
    END IF;
    IF NEW.withdrawn OR public.people_is_the_registrars_word(NEW.recorded_by_id) THEN
        RETURN NEW;
    END IF;
    wanted := daterange(NEW.start, NEW."end", '[]');
    SELECT range_agg(daterange(known.start, known."end", '[]')),
           bool_or(known."end" IS NULL OR known."end" >= today - 1)
    INTO covered, still_there
    FROM public.people_employment known
    WHERE known.worker_id = NEW.worker_id AND known.employer_id = NEW.employer_id AND NOT known.withdrawn
      AND NOT EXISTS (SELECT FROM public.people_employment later WHERE later.supersedes_id = known.id);
    IF covered @> wanted THEN
        RETURN NEW;
    END IF;
    -- One consent, one coming: it is used up by the record that first names it.
    IF EXISTS (
        SELECT FROM public.people_employmentconsent given
        WHERE given.id = NEW.consent_id AND given.worker_id = NEW.worker_id
          AND given.employer_id = NEW.employer_id AND given.start <= NEW.start
          AND NOT EXISTS (SELECT FROM public.people_employment used WHERE used.consent_id = given.id)
    ) THEN
        RETURN NEW;
    END IF;
    SELECT account.employer_id INTO registered_by
    FROM public.people_worker worker JOIN public.people_account account ON account.id = worker.recorded_by_id
    WHERE worker.id = NEW.worker_id;
    IF registered_by = NEW.employer_id AND public.people_is_open_account_at(NEW.recorded_by_id, NEW.employer_id)
       -- Who left and comes back is asked like everybody else.
       AND still_there IS NOT FALSE
       AND NOT EXISTS (SELECT FROM public.people_account WHERE worker_id = NEW.worker_id)
       AND NOT EXISTS (SELECT FROM public.people_employment elsewhere
                       WHERE elsewhere.worker_id = NEW.worker_id AND elsewhere.employer_id <> NEW.employer_id)
    THEN
        RETURN NEW;
    END IF;
    PERFORM public.registry_refuse('a_registered_person_is_taken_on_with_consent');
END
$$;
