-- Which columns a lawful erasure may blank, by table; every other column stays as it was recorded.
CREATE TABLE retention_erasable (
    table_name name PRIMARY KEY,
    columns text[] NOT NULL CHECK (cardinality(columns) > 0)
);
REVOKE ALL ON retention_erasable FROM registry_application;
INSERT INTO retention_erasable (table_name, columns) VALUES
    ('people_worker', '{given_name,family_name,name_key,date_of_birth}'),
    ('evidence_document', '{name,content}'),
    ('evidence_hoursentry', '{issuer,imported_line}'),
    ('evidence_assessment', '{tasks,signature}'),
    ('evidence_certification', '{number}'),
    ('evidence_certificationstatus', '{reason}'),
    ('evidence_standdown', '{reason}'),
    ('evidence_instruction', '{provider_name}'),
    ('evidence_appointment', '{appointed_by}'),
    ('evidence_entryobjection', '{reason}'),
    ('evidence_objectionanswer', '{reply}'),
    ('evidence_correctionrequest', '{what_is_wrong,what_it_should_be}'),
    ('evidence_correctionanswer', '{reason}'),
    ('crews_decision', '{statement,seal}'),
    ('crews_assignmentevent', '{reason}');

-- Records are append-only. One thing gets through: the owner of the table, within a lawful erasure,
-- blanks columns that hold personal data and nothing else. session_user is who signed in, so no
-- function that runs with the owner's rights opens this to the application.
CREATE OR REPLACE FUNCTION evidence_refuse_change() RETURNS trigger LANGUAGE plpgsql
SET search_path = pg_catalog, public, pg_temp AS $$
DECLARE
    erasable text[];
BEGIN
    IF TG_OP = 'UPDATE' AND current_setting('registry.erasing', true) = 'on'
       AND pg_has_role(session_user, (SELECT relowner FROM pg_class WHERE oid = TG_RELID), 'MEMBER') THEN
        SELECT columns INTO erasable FROM public.retention_erasable WHERE table_name = TG_TABLE_NAME;
        IF to_jsonb(NEW) - erasable = to_jsonb(OLD) - erasable THEN
            RETURN NEW;
        END IF;
    END IF;
    RAISE EXCEPTION '% is append-only: record a correction instead', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'records_are_never_changed';
END
$$;

-- Nothing new is recorded about an erased worker. The lock on the worker's row makes this and an
-- erasure, which locks it too, wait for each other.
CREATE INDEX ledger_erasure_by_subject ON ledger_erasure (subject);
CREATE FUNCTION retention_worker_is_not_erased() RETURNS trigger
LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog, public, pg_temp AS $$
BEGIN
    PERFORM FROM public.people_worker
    WHERE id IN (SELECT worker_id FROM added) ORDER BY id FOR KEY SHARE;
    IF EXISTS (SELECT FROM (SELECT DISTINCT worker_id FROM added) concerned
               JOIN public.ledger_erasure erasure ON erasure.subject = 'worker:' || concerned.worker_id) THEN
        RAISE EXCEPTION 'the worker has been erased'
            USING ERRCODE = 'restrict_violation', CONSTRAINT = 'nothing_is_recorded_about_an_erased_worker';
    END IF;
    RETURN NULL;
END
$$;
DO $$
DECLARE
    name text;
BEGIN
    FOREACH name IN ARRAY ARRAY[
        'people_account', 'people_employment', 'people_invitation', 'people_languageskill', 'evidence_hoursentry',
        'evidence_assessment', 'evidence_certification', 'evidence_certificationstatus', 'evidence_standdown',
        'evidence_instruction', 'evidence_appointment', 'evidence_correctionrequest', 'crews_decision',
        'crews_assignment'
    ] LOOP
        EXECUTE format('CREATE TRIGGER worker_is_not_erased AFTER INSERT ON %I REFERENCING NEW TABLE AS added '
                       'FOR EACH STATEMENT EXECUTE FUNCTION retention_worker_is_not_erased()', name);
    END LOOP;
END
$$;
