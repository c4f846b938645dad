-- Of each countersigner the days of work on which they signed for more work, or more sites, than one person sees.
-- The signers are a union of look-ups by index: one condition with OR would read every signature there is.
WITH signer (id) AS (
    SELECT unnest(%(workers)s::bigint[])
    UNION
    SELECT signature.by_id FROM evidence_hoursentry entry
    JOIN evidence_countersignature signature ON signature.entry_id = entry.id
    WHERE entry.worker_id = ANY(%(workers)s)
    UNION
    SELECT by_id FROM evidence_countersignature WHERE %(workers)s::bigint[] IS NULL
),
of_day AS (
    SELECT signature.by_id, (entry.start AT TIME ZONE site.time_zone)::date AS day,
           (sum(extract(epoch FROM entry."end" - entry.start)) / 60)::int AS minutes,
           count(DISTINCT entry.site_id) AS sites, count(DISTINCT entry.worker_id) AS people,
           count(*) AS entries, array_agg('hours:' || entry.id ORDER BY entry.id) AS records
    FROM signer
    JOIN evidence_countersignature signature ON signature.by_id = signer.id
    JOIN evidence_hoursentry entry ON entry.id = signature.entry_id
    JOIN equipment_site site ON site.id = entry.site_id
    WHERE NOT entry.withdrawn
      AND NOT EXISTS (SELECT FROM evidence_hoursentry later WHERE later.supersedes_id = entry.id)
    GROUP BY 1, 2
    HAVING sum(extract(epoch FROM entry."end" - entry.start)) / 60 > %(signed_minutes_a_day)s
        OR count(DISTINCT entry.site_id) > %(signed_sites_a_day)s
),
ranked AS (
    SELECT *, row_number() OVER (PARTITION BY by_id ORDER BY minutes DESC, day) AS place,
           count(*) OVER (PARTITION BY by_id) AS days
    FROM of_day
)
SELECT ARRAY[by_id] AS workers, records[1:%(records)s] AS records, entries AS record_count,
       jsonb_build_object(
           'days', days, 'day', day, 'minutes', minutes, 'sites', sites, 'people', people
       ) AS figures,
       count(*) OVER () AS found
FROM ranked WHERE place = 1
ORDER BY minutes DESC, by_id LIMIT %(limit)s
