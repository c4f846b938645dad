-- Of each worker the pairs of entries that overlap and are on different sites. An entry has at
-- most 24 hours, which lets the index on worker and end find the pairs.
WITH {standing_hours},
pair AS (
    SELECT one.worker_id, one.id AS one, other.id AS other,
           extract(epoch FROM least(one."end", other."end") - greatest(one.start, other.start)) / 60 AS minutes
    FROM standing one
    JOIN evidence_hoursentry other
      ON other.worker_id = one.worker_id AND other.site_id <> one.site_id AND other.id > one.id
     AND other.start < one."end" AND other."end" > one.start
     AND other."end" < one."end" + interval '24 hours'
    WHERE NOT other.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = other.id)
),
enough AS (SELECT * FROM pair WHERE minutes >= %(overlap_minutes)s)
SELECT ARRAY[worker_id] AS workers,
       (array_agg(DISTINCT 'hours:' || entry))[1:%(records)s] AS records,
       count(DISTINCT entry) AS record_count,
       jsonb_build_object(
           'pairs', count(DISTINCT (one, other)), 'minutes', (sum(minutes) / 2)::int, 'longest', max(minutes)::int
       ) AS figures,
       count(*) OVER () AS found
FROM enough CROSS JOIN LATERAL (VALUES (one), (other)) both_of (entry)
GROUP BY worker_id ORDER BY sum(minutes) DESC, worker_id LIMIT %(limit)s
