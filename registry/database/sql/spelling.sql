-- Whether a name may be one of those that are given folded (harmless.folded), which is never more than the engine tells
-- apart: without case, spaces and punctuation, or punctuation alone. Letters beyond ASCII are left to the engine, which
-- alone says no. Cases are those of ASCII, whatever the database's language.
CREATE OR REPLACE FUNCTION registry_may_be_spelled_as(written text, names text[]) RETURNS boolean
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT written ~ '[^ -~]' OR coalesce(
        nullif(lower(regexp_replace(written, '[^a-zA-Z0-9]', '', 'g') COLLATE "C"), ''), btrim(written)
    ) = ANY (names)
$$;
