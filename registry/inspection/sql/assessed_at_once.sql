-- Passed assessments given within minutes of the instant at which the hours that the role asks for
-- on the model were reached. Hours are there once the work is done and signed, as for a decision.
WITH required AS (
    SELECT * FROM jsonb_to_recordset(%(required)s::jsonb) AS required (
        role text, operation text, counted text[], minutes int, first_day date, last_day date, employer bigint
    )
),
-- Two standards may ask the same of a role, which is asked once.
asked AS (
    SELECT DISTINCT given.id, given.worker_id, given.model_id, given.assessed_at, given.assessor_id,
           required.minutes AS minimum, required.counted, required.operation
    FROM evidence_assessment given
    JOIN required
      ON required.role = given.role AND required.operation = ANY(given.operations)
     AND given.assessed_at::date >= required.first_day
     AND (required.last_day IS NULL OR given.assessed_at::date <= required.last_day)
     AND (required.employer = given.employer_id OR required.employer IS NULL AND NOT EXISTS (
             SELECT FROM required own WHERE own.employer = given.employer_id
         ))
    WHERE given.outcome = 'pass' AND NOT given.withdrawn
      AND (%(workers)s::bigint[] IS NULL OR given.worker_id = ANY(%(workers)s))
      AND NOT EXISTS (SELECT FROM evidence_assessment later WHERE later.supersedes_id = given.id)
),
worked AS (
    SELECT asked.*, entry.id AS entry, there.available_at,
           (extract(epoch FROM entry."end" - entry.start) / 60)::int AS minutes
    FROM asked
    JOIN evidence_hoursentry entry
      ON entry.worker_id = asked.worker_id AND entry.model_id = asked.model_id
     AND entry.operation = ANY(asked.counted)
    CROSS JOIN LATERAL (
        SELECT greatest(entry."end", min(signature.at)) AS available_at, count(*) AS signatures
        FROM evidence_countersignature signature WHERE signature.entry_id = entry.id
    ) there
    WHERE (there.signatures > 0 OR entry.origin = 'import') AND there.available_at <= asked.assessed_at
      AND NOT entry.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id)
),
summed AS (
    SELECT *, sum(minutes) OVER (
        PARTITION BY id, operation, minimum, counted ORDER BY available_at, entry
    ) AS total
    FROM worked
),
reached AS (
    SELECT DISTINCT ON (id) id, worker_id, assessor_id, minimum, entry, assessed_at,
           extract(epoch FROM assessed_at - available_at) / 60 AS gap
    FROM summed
    WHERE total >= minimum AND total - minutes < minimum
      AND assessed_at - available_at <= make_interval(mins => %(assessment_minutes)s)
    ORDER BY id, gap, minimum
)
SELECT ARRAY[worker_id, assessor_id] AS workers,
       ARRAY['assessment:' || id, 'hours:' || entry] AS records, 2 AS record_count,
       jsonb_build_object('minutes', gap::int, 'required', minimum, 'assessed_at', assessed_at) AS figures,
       count(*) OVER () AS found
FROM reached ORDER BY gap, id LIMIT %(limit)s
