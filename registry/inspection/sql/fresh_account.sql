-- Accounts that signed within days of being opened: much in one sitting, at once, or for the firm whose invitation alone
-- stands for them. Only signatures that the account itself gave; of each account its largest sitting is shown.
WITH signed AS (
    SELECT account.id AS account_id, account.worker_id AS by_id, account.date_joined, signature.recorded_at, entry.id,
           entry.worker_id, extract(epoch FROM entry."end" - entry.start) / 60 AS minutes,
           invitation.id IS NOT NULL AS for_the_inviter
    FROM people_account account
    JOIN evidence_countersignature signature
      ON signature.by_id = account.worker_id AND signature.recorded_by_id = account.id
    JOIN evidence_hoursentry entry ON entry.id = signature.entry_id
    LEFT JOIN people_invitation invitation
      ON invitation.account_id = account.id AND invitation.way = 'mail'
     AND EXISTS (SELECT FROM people_account inviter
                 WHERE inviter.id = invitation.invited_by_id AND inviter.employer_id = entry.employer_id)
     AND NOT EXISTS (SELECT FROM people_identitycheck seen WHERE seen.account_id = account.id)
    WHERE signature.recorded_at < account.date_joined + make_interval(days => %(fresh_days)s)
      AND signature.recorded_at >= account.date_joined
),
in_scope AS (
    SELECT * FROM signed
    WHERE %(workers)s::bigint[] IS NULL
       OR account_id IN (SELECT account_id FROM signed
                         WHERE by_id = ANY(%(workers)s) OR worker_id = ANY(%(workers)s))
),
spaced AS (
    SELECT *, recorded_at - lag(recorded_at) OVER (PARTITION BY account_id ORDER BY recorded_at, id)
        > make_interval(mins => %(sitting_break_minutes)s) AS after_a_break
    FROM in_scope
),
numbered AS (
    SELECT *, count(*) FILTER (WHERE after_a_break) OVER (
        PARTITION BY account_id ORDER BY recorded_at, id) AS sitting
    FROM spaced
),
of_sitting AS (
    SELECT account_id, by_id, count(*) AS entries, sum(minutes)::int AS minutes,
           count(*) FILTER (WHERE for_the_inviter) AS for_the_inviter,
           floor(extract(epoch FROM min(recorded_at) - min(date_joined)) / 60)::int AS after_opening,
           array_agg('hours:' || id ORDER BY id) AS records
    FROM numbered GROUP BY account_id, by_id, sitting
    HAVING count(*) >= %(fresh_entries)s OR sum(minutes) >= %(fresh_minutes)s OR bool_or(for_the_inviter)
        OR min(recorded_at) - min(date_joined) <= make_interval(mins => %(fresh_first_minutes)s)
),
ranked AS (
    SELECT *, row_number() OVER (PARTITION BY account_id ORDER BY entries DESC, minutes DESC, after_opening) AS place
    FROM of_sitting
)
SELECT ARRAY[by_id] AS workers, records[1:%(records)s] AS records, entries AS record_count,
       jsonb_build_object(
           'entries', entries, 'minutes', minutes, 'after_opening', after_opening, 'for_the_inviter', for_the_inviter
       ) AS figures,
       count(*) OVER () AS found
FROM ranked WHERE place = 1
ORDER BY entries DESC, by_id LIMIT %(limit)s
