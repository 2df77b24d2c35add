-- Question: How long after the first treated visit are endpoints read?
-- Asked by: quality lead
-- Reads: episodes, readings
-- Columns: condition; measure; endpoints (of due episodes); median_day; first_day; last_day (days since the first
--   treated visit)
WITH due AS (
    SELECT episode, COALESCE(condition, 'not recorded') AS condition
    FROM episodes
    WHERE is_due
),
ends AS (
    SELECT due.condition AS condition, readings.measure AS measure, readings.day AS day
    FROM readings INNER JOIN due ON readings.episode = due.episode
    WHERE readings.is_endpoint
)
SELECT
    condition,
    measure,
    CAST(COUNT(*) AS BIGINT) AS endpoints,
    MEDIAN(day) AS median_day,
    MIN(day) AS first_day,
    MAX(day) AS last_day
FROM ends
GROUP BY condition, measure
ORDER BY condition, measure
