-- Refuse what was about to be recorded. The error carries the rule's name and no sentence: those stand in
-- registry/language/refusals.py. One code for all of them, of the class that clients read as a broken constraint.
-- ``detail`` is what the sentence names, where it names something of the column.
CREATE OR REPLACE FUNCTION registry_refuse(rule text, about_column text DEFAULT NULL, detail text DEFAULT NULL)
RETURNS void LANGUAGE plpgsql AS $$
BEGIN
    IF detail IS NOT NULL THEN
        RAISE EXCEPTION '%', rule
            USING ERRCODE = 'restrict_violation', CONSTRAINT = rule, COLUMN = about_column, DETAIL = detail;
    END IF;
    RAISE EXCEPTION '%', rule USING ERRCODE = 'restrict_violation', CONSTRAINT = rule;
END
$$;
