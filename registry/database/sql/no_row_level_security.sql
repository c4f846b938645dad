DO $$
DECLARE
    guarded record;
BEGIN
    FOR guarded IN SELECT policyname, tablename FROM pg_policies
        WHERE schemaname = 'public' AND policyname IN ('read_by_whom_it_concerns', 'written_by_the_register') LOOP
        EXECUTE format('DROP POLICY %I ON %I', guarded.policyname, guarded.tablename);
        EXECUTE format('ALTER TABLE %I DISABLE ROW LEVEL SECURITY', guarded.tablename);
    END LOOP;
END
$$;
DROP VIEW registry_own_people, registry_own_entries, registry_given_assessments, registry_own_appointments,
    registry_assessed_employments, registry_assessed_employers, registry_opened_links;
DROP FUNCTION registry_reads_everything(), registry_reader_employer(), registry_reader_worker(),
    registry_reader_account(), registry_reader();
