DROP VIEW registry_own_people, registry_own_employments, registry_own_entries, registry_given_assessments, registry_own_appointments,
    registry_assessed_employments, registry_assessed_employers, registry_opened_links;
DROP FUNCTION registry_shows_remark(bigint, timestamptz), registry_corrects_record_of(bigint, name, bigint),
    registry_reader_colleagues(), registry_left_people(), registry_reads_until(date);
DROP FUNCTION registry_reads_everything(), registry_reader_employer(), registry_reader_worker(),
    registry_reader_account(), registry_reader();
