-- Question: How many of the due episodes have a baseline, and a baseline with an endpoint, at each site?
-- Asked by: quality lead
-- Reads: episodes, readings
-- Columns: site; condition; measure (every one used in the condition at any site); episodes (due);
--   with_baseline; with_endpoint (and a baseline); share (with_endpoint of episodes, 0 to 1)
WITH due AS (
    SELECT episode, site, COALESCE(condition, 'not recorded') AS condition
    FROM episodes
    WHERE is_due
),
used AS (
    SELECT due.condition AS condition, readings.measure AS measure
    FROM readings INNER JOIN due ON readings.episode = due.episode
    GROUP BY due.condition, readings.measure
),
scored AS (
    SELECT
        episode,
        measure,
        MAX(CASE WHEN is_baseline THEN 1 ELSE 0 END) AS has_baseline,
        MAX(CASE WHEN is_endpoint THEN 1 ELSE 0 END) AS has_endpoint
    FROM readings
    WHERE episode IS NOT NULL
    GROUP BY episode, measure
),
expected AS (
    SELECT due.episode AS episode, due.site AS site, due.condition AS condition, used.measure AS measure
    FROM due INNER JOIN used ON due.condition = used.condition
),
found AS (
    SELECT
        expected.site AS site,
        expected.condition AS condition,
        expected.measure AS measure,
        COALESCE(scored.has_baseline, 0) AS has_baseline,
        COALESCE(scored.has_endpoint, 0) AS has_endpoint
    FROM expected
    LEFT JOIN scored ON expected.episode = scored.episode AND expected.measure = scored.measure
)
SELECT
    site,
    condition,
    measure,
    CAST(COUNT(*) AS BIGINT) AS episodes,
    CAST(SUM(has_baseline) AS BIGINT) AS with_baseline,
    CAST(SUM(has_baseline * has_endpoint) AS BIGINT) AS with_endpoint,
    1.0 * SUM(has_baseline * has_endpoint) / COUNT(*) AS share
FROM found
GROUP BY site, condition, measure
ORDER BY site, condition, measure
