-- Runs of one worker's entries typed in by one account without a longer break, over many days of work.
WITH {standing_hours},
spaced AS (
    SELECT id, worker_id, recorded_by_id, recorded_at, start AT TIME ZONE 'UTC' AS worked,
           recorded_at - lag(recorded_at) OVER sitting
               > make_interval(mins => %(sitting_break_minutes)s) AS after_a_break
    FROM standing WHERE origin <> 'import'
    WINDOW sitting AS (PARTITION BY worker_id, recorded_by_id ORDER BY recorded_at, id)
),
numbered AS (
    SELECT *, count(*) FILTER (WHERE after_a_break) OVER (
        PARTITION BY worker_id, recorded_by_id ORDER BY recorded_at, id
    ) AS sitting
    FROM spaced
)
SELECT ARRAY[worker_id] AS workers,
       (array_agg('hours:' || id ORDER BY id))[1:%(records)s] AS records,
       count(*) AS record_count,
       jsonb_build_object(
           'entries', count(*), 'days', count(DISTINCT worked::date), 'from', min(recorded_at),
           'minutes', ceil(extract(epoch FROM max(recorded_at) - min(recorded_at)) / 60)::int
       ) AS figures,
       count(*) OVER () AS found
FROM numbered GROUP BY worker_id, recorded_by_id, sitting
HAVING count(*) >= %(sitting_entries)s AND count(DISTINCT worked::date) >= %(sitting_days)s
ORDER BY count(*) DESC, worker_id, min(recorded_at) LIMIT %(limit)s
