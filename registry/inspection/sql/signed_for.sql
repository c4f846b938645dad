-- Who signed for whom, among those whose signature stands behind the workers in scope at any remove.
WITH RECURSIVE behind (id) AS (
    SELECT unnest(%(workers)s::bigint[])
    UNION
    SELECT signed.by_id FROM behind, LATERAL (
        SELECT signature.by_id FROM evidence_hoursentry entry
        JOIN evidence_countersignature signature ON signature.entry_id = entry.id
        WHERE entry.worker_id = behind.id
        UNION
        SELECT assessor_id FROM evidence_assessment WHERE worker_id = behind.id
    ) signed
),
signature_of AS NOT MATERIALIZED (
    SELECT signature.by_id, entry.worker_id, 'hours:' || entry.id AS record
    FROM evidence_hoursentry entry
    JOIN evidence_countersignature signature ON signature.entry_id = entry.id
    WHERE NOT entry.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id)
    UNION ALL
    SELECT given.assessor_id, given.worker_id, 'assessment:' || given.id
    FROM evidence_assessment given
    WHERE NOT given.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_assessment later WHERE later.supersedes_id = given.id)
),
-- Looked up person by person (OFFSET keeps the planner to that), or all of them for the whole register.
signed AS (
    SELECT found.* FROM behind, LATERAL (
        SELECT * FROM signature_of WHERE signature_of.worker_id = behind.id OFFSET 0
    ) found
    UNION ALL
    SELECT * FROM signature_of WHERE %(workers)s::bigint[] IS NULL
)
SELECT by_id, worker_id, count(*), (array_agg(record ORDER BY record))[1:%(records)s]
FROM signed WHERE by_id <> worker_id GROUP BY by_id, worker_id ORDER BY by_id, worker_id
