-- For each role: in how many people the employer's latest answers find it, and what became of the others.
-- An answer is the latest for a worker, role, crane model and operation; one that was permitted stands while
-- it holds and none of the worker's own records has changed since.
WITH latest AS (
    SELECT DISTINCT ON (worker_id, role, model_id, configuration, operation)
           worker_id,
           role,
           outcome = 'permitted' AND (holds_until IS NULL OR holds_until > %(at)s) AS holds,
           coalesce((evidence_versions ->> ('worker:' || worker_id))::bigint, 0) AS version
      FROM crews_decision
     WHERE employer_id = %(employer)s AND worker_id = ANY (%(workers)s) AND known_at IS NULL
     ORDER BY worker_id, role, model_id, configuration, operation, decided_at DESC, id DESC
), people AS (
    SELECT latest.role,
           bool_or(latest.holds AND latest.version = coalesce(current.version, 0)) AS stands,
           bool_or(latest.holds) AS held_when_asked
      FROM latest
      LEFT JOIN evidence_evidenceversion AS current ON current.subject = 'worker:' || latest.worker_id
     GROUP BY latest.worker_id, latest.role
)
SELECT role,
       count(*) FILTER (WHERE stands),
       count(*) FILTER (WHERE held_when_asked AND NOT stands),
       count(*) FILTER (WHERE NOT held_when_asked)
  FROM people
 GROUP BY role
