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
signed AS (
    SELECT signature.by_id, entry.worker_id, 'hours:' || entry.id AS record
    FROM evidence_hoursentry entry
    JOIN evidence_countersignature signature ON signature.entry_id = entry.id
    WHERE (%(workers)s::bigint[] IS NULL OR entry.worker_id IN (SELECT id FROM behind))
      AND NOT entry.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id)
    UNION ALL
    SELECT given.assessor_id, given.worker_id, 'assessment:' || given.id
    FROM evidence_assessment given
    WHERE (%(workers)s::bigint[] IS NULL OR given.worker_id IN (SELECT id FROM behind))
      AND NOT given.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_assessment later WHERE later.supersedes_id = given.id)
)
SELECT by_id, worker_id, count(*), (array_agg(record ORDER BY record))[1:%(records)s]
FROM signed WHERE by_id <> worker_id GROUP BY by_id, worker_id ORDER BY by_id, worker_id
