-- Hours entries that stand (neither corrected nor withdrawn) of the workers in scope: NULL is everybody.
standing AS (
    SELECT entry.* FROM evidence_hoursentry entry
    WHERE (%(workers)s::bigint[] IS NULL OR entry.worker_id = ANY(%(workers)s))
      AND NOT entry.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id)
)
