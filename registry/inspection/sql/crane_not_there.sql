-- Of each worker and crane the entries during which the crane did not stand on that site.
WITH {standing_hours},
placed AS (
    SELECT crane_id, site_id, range_agg(tstzrange(start, "end")) AS stood
    FROM equipment_craneplacement placement
    WHERE NOT withdrawn
      AND NOT EXISTS (SELECT FROM equipment_craneplacement later WHERE later.supersedes_id = placement.id)
    GROUP BY crane_id, site_id
),
outside AS (
    SELECT entry.id, entry.worker_id, entry.crane_id, entry.site_id, entry.start,
           (SELECT sum(extract(epoch FROM upper(part) - lower(part))) / 60
            FROM unnest(
                tstzmultirange(tstzrange(entry.start, entry."end")) - coalesce(placed.stood, '{{}}'::tstzmultirange)
            ) part) AS minutes,
           entry.start < (
               SELECT min(lower(part)) FROM unnest(placed.stood) part
           ) AS before
    FROM standing entry LEFT JOIN placed USING (crane_id, site_id)
    WHERE entry.crane_id IS NOT NULL
      AND NOT coalesce(placed.stood @> tstzrange(entry.start, entry."end"), false)
)
SELECT ARRAY[worker_id] AS workers,
       (array_agg('hours:' || id ORDER BY start, id))[1:%(records)s] AS records,
       count(*) AS record_count,
       jsonb_build_object(
           'entries', count(*), 'minutes', sum(minutes)::int, 'before', count(*) FILTER (WHERE before),
           'crane', crane_id, 'site', site_id
       ) AS figures,
       count(*) OVER () AS found
FROM outside WHERE minutes >= %(crane_minutes)s
GROUP BY worker_id, crane_id, site_id
ORDER BY sum(minutes) DESC, worker_id, crane_id, site_id LIMIT %(limit)s
