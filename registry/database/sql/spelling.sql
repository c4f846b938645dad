-- Whether a name may be one of those that are given folded, as the engine folds names (harmless.folded): without case,
-- spaces and punctuation. Letters beyond ASCII are left to the engine, which alone says no.
CREATE OR REPLACE FUNCTION registry_may_be_spelled_as(written text, names text[]) RETURNS boolean
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT written ~ '[^ -~]' OR lower(regexp_replace(written, '[^a-zA-Z0-9]', '', 'g')) = ANY (names)
$$;
