-- RFC 8785: a number as ECMAScript writes it, for one that is no plain integer.
-- PostgreSQL writes the shortest digits that lie between a number's neighbours; ECMAScript writes a shorter
-- text too that lies half-way to one of them and is read as this number, such as 1e+23.
CREATE OR REPLACE FUNCTION ledger_canonical_number(given text) RETURNS text
LANGUAGE plpgsql IMMUTABLE STRICT SET search_path = pg_catalog SET extra_float_digits = 1 AS $$
DECLARE
    number float8 := given::float8;
    written numeric := number::text::numeric;
    shorter numeric;
    whole text;
    digits text;
    exponent integer;
BEGIN
    IF number = 0 THEN
        RETURN '0';
    END IF;
    LOOP
        whole := ltrim(split_part(abs(written)::text, '.', 1), '0');
        digits := trim(translate(written::text, '-.', ''), '0');
        exponent := CASE WHEN whole <> '' THEN length(whole) - 1
                    ELSE length(ltrim(split_part(written::text, '.', 2), '0')) - scale(written) - 1 END;
        EXIT WHEN length(digits) = 1;
        SELECT candidate INTO shorter
        FROM (VALUES (trunc(written, length(digits) - 2 - exponent)),
                     (trunc(written, length(digits) - 2 - exponent)
                      + sign(written) * ('1e' || exponent + 2 - length(digits))::numeric)) AS candidates (candidate)
        WHERE CASE WHEN abs(candidate) < 1.7976931348623158e308 THEN candidate::float8 = number END;
        EXIT WHEN NOT FOUND;
        written := shorter;
    END LOOP;
    IF abs(number) >= 1e-6 AND abs(number) < 1e21 THEN
        RETURN trim_scale(written)::text;
    END IF;
    RETURN CASE WHEN number < 0 THEN '-' ELSE '' END || left(digits, 1)
           || CASE WHEN length(digits) > 1 THEN '.' || substr(digits, 2) ELSE '' END
           || 'e' || CASE WHEN exponent < 0 THEN '-' ELSE '+' END || abs(exponent);
END
$$;

-- RFC 8785 sorts keys by their UTF-16 code units. That is the order of their UTF-8 bytes, but that
-- U+E000 to U+FFFF (first byte EE or EF) come after everything beyond them (first byte F0 to F4).
CREATE OR REPLACE FUNCTION ledger_utf16_order(key text) RETURNS text
LANGUAGE sql IMMUTABLE STRICT SET search_path = pg_catalog AS $$
    SELECT string_agg(CASE WHEN ascii(letter) BETWEEN 57344 AND 65535 THEN chr(1114111) || letter
                           ELSE letter END, '' ORDER BY place)
    FROM regexp_split_to_table(key, '') WITH ORDINALITY AS letters (letter, place)
$$;

-- RFC 8785: the canonical text of a JSON value. PostgreSQL escapes strings as ECMAScript does.
CREATE OR REPLACE FUNCTION ledger_canonical(given jsonb) RETURNS text
LANGUAGE plpgsql IMMUTABLE STRICT AS $$
BEGIN
    CASE jsonb_typeof(given)
    WHEN 'object' THEN
        RETURN '{' || coalesce((
            SELECT string_agg(to_json(key)::text || ':' || CASE
                    WHEN jsonb_typeof(value) IN ('string', 'boolean', 'null') THEN value::text
                    WHEN value::text ~ '^-?[0-9]{1,15}$' THEN value::text
                    ELSE public.ledger_canonical(value) END, ','
                ORDER BY CASE WHEN octet_length(key) > length(key) THEN public.ledger_utf16_order(key) ELSE key END
                         COLLATE "C")
            FROM jsonb_each(given)), '') || '}';
    WHEN 'array' THEN
        RETURN '[' || coalesce((
            SELECT string_agg(public.ledger_canonical(value), ',' ORDER BY place)
            FROM jsonb_array_elements(given) WITH ORDINALITY AS elements (value, place)), '') || ']';
    WHEN 'number' THEN
        IF given::text ~ '^-?[0-9]{1,15}$' THEN
            RETURN given::text;
        END IF;
        RETURN public.ledger_canonical_number(given::text);
    ELSE
        RETURN given::text;
    END CASE;
END
$$;

-- The leaf of a row: RFC 8785 JSON in which a salted commitment stands for all personal columns. Written in one
-- pass over the columns, whose names are plain identifiers: every writer of records waits for this.
CREATE OR REPLACE FUNCTION ledger_leaf_of(kind text, data jsonb, salt bytea, entered_at timestamptz, personal text[])
RETURNS text LANGUAGE plpgsql STABLE AS $$
DECLARE
    opened text;
    closed text;
BEGIN
    SELECT string_agg(member, ',' ORDER BY key COLLATE "C") FILTER (WHERE NOT is_personal),
           string_agg(member, ',' ORDER BY key COLLATE "C") FILTER (WHERE is_personal)
    INTO opened, closed
    FROM (SELECT key, key = ANY (personal) AS is_personal, '"' || key || '":' || CASE
                 WHEN jsonb_typeof(value) IN ('string', 'boolean', 'null') THEN value::text
                 WHEN value::text ~ '^-?[0-9]{1,15}$' THEN value::text
                 ELSE public.ledger_canonical(value) END AS member
          FROM jsonb_each(data)) members;
    RETURN '{"entered_at":' || to_json(entered_at)::text || ',"kind":' || to_json(kind)::text
           || ',"open":{' || coalesce(opened, '')
           || '},"personal":"' || encode(sha256(salt || convert_to('{' || coalesce(closed, '') || '}', 'UTF8')), 'hex')
           || '","record":' || (data ->> 'id') || '}';
END
$$;

CREATE OR REPLACE FUNCTION ledger_new_salt() RETURNS bytea LANGUAGE sql VOLATILE AS $$
    SELECT sha256(uuid_send(gen_random_uuid()) || uuid_send(gen_random_uuid()))
$$;

-- Every new row of a logged table becomes an entry, in the transaction that makes the row.
-- Arguments: the personal columns, and columns left out because another column holds their SHA-256.
CREATE OR REPLACE FUNCTION ledger_append() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER
SET search_path = pg_catalog, public, pg_temp SET timezone = 'UTC' SET bytea_output = 'hex' AS $$
DECLARE
    personal text[] := TG_ARGV[0];
    left_out text[] := TG_ARGV[1];
    entered timestamptz := clock_timestamp();
BEGIN
    WITH appended AS (
        INSERT INTO public.ledger_entry (kind, record, entered_at, salt, leaf, leaf_hash)
        SELECT TG_TABLE_NAME, record, entered, salt, leaf, sha256('\x00'::bytea || convert_to(leaf, 'UTF8'))
        FROM (
            SELECT record, salt,
                   public.ledger_leaf_of(TG_TABLE_NAME, data, salt, entered, personal) AS leaf
            -- OFFSET 0 keeps each row's salt and leaf computed once.
            FROM (SELECT (data ->> 'id')::bigint AS record, data, public.ledger_new_salt() AS salt
                  FROM (SELECT to_jsonb(added) - left_out AS data FROM added OFFSET 0) rows
                  ORDER BY 1 OFFSET 0) salted
            OFFSET 0) leaves
        RETURNING id)
    INSERT INTO public.ledger_pending (entry_id) SELECT id FROM appended;
    RETURN NULL;
END
$$;
REVOKE ALL ON FUNCTION ledger_append() FROM PUBLIC;

-- Entries get their places in the tree here, a batch at a time: those that have committed, in the
-- order they were made. Only this holds a lock, and not for longer than the batch; writers never do.
CREATE OR REPLACE FUNCTION ledger_sequence(at_most integer) RETURNS integer
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    size bigint;
    placed integer;
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended('places in the log', 0));
    SELECT coalesce(max(index) + 1, 0) INTO size FROM public.ledger_leaf;
    WITH taken AS (
        DELETE FROM public.ledger_pending
        WHERE ctid = ANY (ARRAY(SELECT ctid FROM public.ledger_pending LIMIT at_most))
        RETURNING entry_id)
    INSERT INTO public.ledger_leaf (index, entry_id, hash)
    SELECT size - 1 + row_number() OVER (ORDER BY entry.id), entry.id, entry.leaf_hash
    FROM taken JOIN public.ledger_entry entry ON entry.id = taken.entry_id;
    GET DIAGNOSTICS placed = ROW_COUNT;
    RETURN placed;
END
$$;
REVOKE ALL ON FUNCTION ledger_sequence(integer) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ledger_sequence(integer) TO registry_application;

-- A checkpoint covers leaves that are there, and more than the one before.
CREATE OR REPLACE FUNCTION ledger_checkpoint_goes_on() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended('places in the log', 0));
    IF NEW.size <= (SELECT coalesce(max(size), -1) FROM public.ledger_checkpoint)
       OR NEW.size <> (SELECT coalesce(max(index) + 1, 0) FROM public.ledger_leaf) THEN
        PERFORM public.registry_refuse('checkpoint_goes_on_from_the_one_before');
    END IF;
    RETURN NEW;
END
$$;
CREATE OR REPLACE TRIGGER checkpoint_goes_on BEFORE INSERT ON ledger_checkpoint
    FOR EACH ROW EXECUTE FUNCTION ledger_checkpoint_goes_on();

-- What the log holds is never changed. Only a lawful erasure takes the salt away; it says so first.
CREATE OR REPLACE FUNCTION ledger_refuse_change() RETURNS trigger LANGUAGE plpgsql
SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF TG_TABLE_NAME = 'ledger_entry' AND TG_OP = 'UPDATE'
       AND current_setting('registry.erasing', true) = 'on'
       AND NEW.salt IS NULL
       AND (NEW.id, NEW.kind, NEW.record, NEW.entered_at, NEW.leaf, NEW.leaf_hash)
           = (OLD.id, OLD.kind, OLD.record, OLD.entered_at, OLD.leaf, OLD.leaf_hash) THEN
        RETURN NEW;
    END IF;
    PERFORM public.registry_refuse('records_are_never_changed');
END
$$;

-- Take the salts of an erasure's entries away. Only the owner may: the application is not granted it.
CREATE OR REPLACE FUNCTION ledger_erase(erasure bigint) RETURNS void
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM set_config('registry.erasing', 'on', true);
    UPDATE public.ledger_entry SET salt = NULL
    WHERE id = ANY ((SELECT entries FROM public.ledger_erasure WHERE id = erasure)::bigint[]);
    PERFORM set_config('registry.erasing', 'off', true);
END
$$;
REVOKE ALL ON FUNCTION ledger_erase(bigint) FROM PUBLIC;

-- Let a table's rows be logged from now on, and log those that are there and are not logged yet.
CREATE OR REPLACE PROCEDURE ledger_log(logged name, personal text[], left_out text[])
LANGUAGE plpgsql SET timezone = 'UTC' SET bytea_output = 'hex' AS $$
BEGIN
    EXECUTE format(
        'CREATE OR REPLACE TRIGGER ledger_append AFTER INSERT ON %I REFERENCING NEW TABLE AS added '
        'FOR EACH STATEMENT EXECUTE FUNCTION ledger_append(%L, %L)', logged, personal, left_out);
    EXECUTE format(
        'WITH appended AS ('
        '    INSERT INTO ledger_entry (kind, record, entered_at, salt, leaf, leaf_hash)'
        '    SELECT %1$L, record, now(), salt, leaf, sha256(''\x00''::bytea || convert_to(leaf, ''UTF8''))'
        '    FROM (SELECT record, salt, ledger_leaf_of(%1$L, data, salt, now(), %2$L) AS leaf'
        '          FROM (SELECT id AS record, to_jsonb(known) - %3$L::text[] AS data, ledger_new_salt() AS salt'
        '                FROM %1$I known WHERE NOT EXISTS ('
        '                    SELECT FROM ledger_entry WHERE kind = %1$L AND record = known.id)'
        '                ORDER BY id OFFSET 0) salted OFFSET 0) leaves'
        '    RETURNING id)'
        'INSERT INTO ledger_pending (entry_id) SELECT id FROM appended', logged, personal, left_out);
END
$$;
REVOKE ALL ON PROCEDURE ledger_log(name, text[], text[]) FROM PUBLIC;
