-- Question: In how many due episodes did the burden fall by at least 30 % and 50 % of the baseline?
-- Asked by: clinic director
-- Reads: episodes, readings
-- Columns: condition; measure; episodes (due, with a baseline above the best possible score); with_outcome (of these
--   with an endpoint); fell_30 and fell_50 (of these); rate_30 and rate_50 (of with_outcome); worst_30 and best_30
--   (of episodes, every missing endpoint counted as no response, or as one)
WITH due AS (
    SELECT episode, COALESCE(condition, 'not recorded') AS condition
    FROM episodes
    WHERE is_due
),
baseline AS (
    SELECT episode, measure, CAST(ROUND(burden * 1000.0, 0) AS BIGINT) AS start_burden
    FROM readings
    WHERE is_baseline AND burden > 0
),
endpoint AS (
    SELECT episode, measure, CAST(ROUND(burden * 1000.0, 0) AS BIGINT) AS end_burden
    FROM readings
    WHERE is_endpoint
),
started AS (
    SELECT
        due.episode AS episode,
        due.condition AS condition,
        baseline.measure AS measure,
        baseline.start_burden AS start_burden
    FROM due INNER JOIN baseline ON due.episode = baseline.episode
),
paired AS (
    SELECT
        started.condition AS condition,
        started.measure AS measure,
        CASE WHEN endpoint.end_burden IS NULL THEN 0 ELSE 1 END AS has_outcome,
        CASE WHEN 10 * (started.start_burden - endpoint.end_burden) >= 3 * started.start_burden THEN 1 ELSE 0 END AS is_30,
        CASE WHEN 10 * (started.start_burden - endpoint.end_burden) >= 5 * started.start_burden THEN 1 ELSE 0 END AS is_50
    FROM started
    LEFT JOIN endpoint ON started.episode = endpoint.episode AND started.measure = endpoint.measure
)
SELECT
    condition,
    measure,
    CAST(COUNT(*) AS BIGINT) AS episodes,
    CAST(SUM(has_outcome) AS BIGINT) AS with_outcome,
    CAST(SUM(is_30) AS BIGINT) AS fell_30,
    CAST(SUM(is_50) AS BIGINT) AS fell_50,
    1.0 * SUM(is_30) / NULLIF(SUM(has_outcome), 0) AS rate_30,
    1.0 * SUM(is_50) / NULLIF(SUM(has_outcome), 0) AS rate_50,
    1.0 * SUM(is_30) / COUNT(*) AS worst_30,
    1.0 * SUM(is_30 + 1 - has_outcome) / COUNT(*) AS best_30
FROM paired
GROUP BY condition, measure
ORDER BY condition, measure
