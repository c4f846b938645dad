-- What the owner lets the database insist on; one row. A null tolerance: recording times are not checked.
CREATE TABLE database_policy (
    only_row boolean PRIMARY KEY DEFAULT true CHECK (only_row),
    recorded_at_tolerance_minutes integer DEFAULT 10 CHECK (recorded_at_tolerance_minutes >= 0)
);
INSERT INTO database_policy DEFAULT VALUES;

-- Records are appended, never changed or deleted, by anybody; only the owner can empty a whole table.
CREATE FUNCTION record_refuse_change() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: % is refused; record a correction or a withdrawal', TG_TABLE_NAME, TG_OP
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'records_are_never_changed', TABLE = TG_TABLE_NAME;
END
$$;

-- A record cannot be dated back or ahead, except by the table's owner (who loads old registers).
CREATE FUNCTION record_is_recorded_now() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    tolerance integer;
BEGIN
    IF session_user = (SELECT pg_get_userbyid(relowner) FROM pg_class WHERE oid = TG_RELID) THEN
        RETURN NEW;
    END IF;
    SELECT recorded_at_tolerance_minutes INTO STRICT tolerance FROM public.database_policy;
    IF abs(extract(epoch FROM NEW.recorded_at - clock_timestamp())) > tolerance * 60 THEN
        RAISE EXCEPTION 'recorded at % is not now', NEW.recorded_at
            USING ERRCODE = 'check_violation', CONSTRAINT = 'record_is_recorded_now', TABLE = TG_TABLE_NAME;
    END IF;
    RETURN NEW;
END
$$;

-- A correction concerns the same subject (the column TG_ARGV[0]), follows what it corrects, and revives nothing.
CREATE FUNCTION record_correction_is_sound() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    same_subject boolean;
    was_withdrawn boolean;
    was_recorded_at timestamptz;
    broken text;
BEGIN
    IF NEW.supersedes_id IS NULL THEN
        IF NEW.withdrawn THEN
            broken := 'withdrawal_supersedes_a_record';
        END IF;
    ELSE
        EXECUTE format(
            'SELECT %1$I = ($1).%1$I, withdrawn, recorded_at FROM %2$I.%3$I WHERE id = ($1).supersedes_id',
            TG_ARGV[0], TG_TABLE_SCHEMA, TG_TABLE_NAME)
        INTO same_subject, was_withdrawn, was_recorded_at USING NEW;
        broken := CASE
            WHEN NOT same_subject THEN 'correction_concerns_the_same_subject'
            WHEN was_withdrawn THEN 'withdrawn_record_stays_withdrawn'
            WHEN NEW.recorded_at < was_recorded_at THEN 'correction_is_recorded_after_the_record'
        END;
    END IF;
    IF broken IS NOT NULL THEN
        RAISE EXCEPTION '%', replace(broken, '_', ' ')
            USING ERRCODE = 'check_violation', CONSTRAINT = broken, TABLE = TG_TABLE_NAME;
    END IF;
    RETURN NEW;
END
$$;
