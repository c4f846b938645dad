-- Of each worker the entries recorded more than so many days after the work.
WITH {standing_hours},
late AS (
    SELECT id, worker_id, recorded_at - "end" AS delay FROM standing
    WHERE recorded_at > "end" + make_interval(days => %(late_days)s)
)
SELECT ARRAY[worker_id] AS workers,
       (array_agg('hours:' || id ORDER BY delay DESC, id))[1:%(records)s] AS records,
       count(*) AS record_count,
       jsonb_build_object('entries', count(*), 'longest_days', extract(day FROM max(delay))::int) AS figures,
       count(*) OVER () AS found
FROM late GROUP BY worker_id
ORDER BY max(delay) DESC, worker_id LIMIT %(limit)s
