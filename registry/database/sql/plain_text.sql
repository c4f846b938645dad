-- Text that reads as it looks: no characters that cannot be seen, or that change how others are read. The same as
-- registry/language/plain_text.py, but for the categories that PostgreSQL's patterns do not know: those are listed.

-- Whether a line, several lines, or the text of JSON hold such a character. In PL/pgSQL, which keeps the compiled
-- patterns and costs a microsecond where all is ASCII; every row of every table of records comes through here.
CREATE OR REPLACE FUNCTION registry_hides_characters(line text, lines text, data text) RETURNS boolean
LANGUAGE plpgsql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog, pg_temp AS $$
BEGIN
    RETURN line ~ '[\u0001-\u001f\u007f]' OR lines ~ '[\u0001-\u0008\u000b-\u001f\u007f]'
        -- JSON writes controls as escapes, and a backslash as two.
        OR data ~ '(^|[^\\])(\\\\)*\\u00[01]' AND data ~ '(^|[^\\])(\\\\)*\\u00(0[1-8bcef]|1)'
        OR octet_length(line) + octet_length(lines) + octet_length(data)
           <> length(line) + length(lines) + length(data)
           AND (line || lines || data ~ concat(
                '[\u0080-\u009f\u00ad\u034f\u0600-\u0605\u061c\u06dd\u070f\u0890\u0891\u08e2\u115f\u1160\u17b4\u17b5',
                '\u180b-\u180f\u200b-\u200f\u2028-\u202e\u2060-\u206f\u2800\u3164\ue000-\uf8ff\ufe00-\ufe0f\ufeff',
                '\uffa0\ufff0-\ufffb\U000110bd\U000110cd\U00013430-\U0001343f\U0001bca0-\U0001bca3',
                '\U0001d173-\U0001d17a\U000e0000-\U000e0fff\U000f0000-\U0010ffff]')
                OR NOT unicode_assigned(line || lines || data));
END
$$;

-- The application stores plain text only; the owner may bring in what old registers hold. Arguments: the columns of
-- one line, of several lines, and of JSON. It is called only where something was found, and says what and where.
CREATE OR REPLACE FUNCTION registry_text_is_plain() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    name text;
    kind integer;
    found text;
    letter text;
BEGIN
    IF session_user = current_user THEN
        RETURN NEW;
    END IF;
    FOR kind IN 0..2 LOOP
        FOREACH name IN ARRAY TG_ARGV[kind]::text[] LOOP
            EXECUTE format('SELECT ($1).%I::text', name) INTO found USING NEW;
            CONTINUE WHEN found IS NULL OR NOT public.registry_hides_characters(
                CASE kind WHEN 0 THEN found ELSE '' END, CASE kind WHEN 1 THEN found ELSE '' END,
                CASE kind WHEN 2 THEN found ELSE '' END);
            FOREACH letter IN ARRAY regexp_split_to_array(found, '') LOOP
                EXIT WHEN public.registry_hides_characters(
                    CASE kind WHEN 0 THEN letter ELSE '' END, CASE kind WHEN 0 THEN '' ELSE letter END, '');
            END LOOP;
            PERFORM public.registry_refuse('text_has_no_hidden_characters', name, ascii(letter)::text);
        END LOOP;
    END LOOP;
    RETURN NEW;
END
$$;
REVOKE ALL ON FUNCTION registry_text_is_plain() FROM PUBLIC;
