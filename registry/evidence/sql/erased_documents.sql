-- A new document is what its size and SHA-256 say; only a lawful erasure leaves one without content.
CREATE OR REPLACE FUNCTION evidence_document_is_whole() RETURNS trigger
LANGUAGE plpgsql SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    IF length(NEW.content) <> NEW.size THEN
        RAISE EXCEPTION 'the size is not that of the document'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'document_size_is_that_of_its_content';
    END IF;
    IF encode(sha256(NEW.content), 'hex') <> NEW.sha256 THEN
        RAISE EXCEPTION 'the document differs from its SHA-256'
            USING ERRCODE = 'check_violation', CONSTRAINT = 'document_matches_its_sha256';
    END IF;
    RETURN NEW;
END
$$;
