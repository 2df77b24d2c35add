-- Question: In how many due episodes did the burden fall by at least 30 % and 50 % of the baseline?
-- Asked by: clinic director
-- Reads: episodes, readings
-- Columns: condition; measure; episodes (due, less those whose baseline is the best possible score; those without a
--   baseline stay in); with_outcome (of these with baseline and endpoint); fell_30 and fell_50 (of these); rate_30 and
--   rate_50 (of with_outcome); worst_30 and best_30 (of episodes, every missing outcome counted as no response, or as one)
WITH due AS (
    SELECT episode, COALESCE(condition, 'not recorded') AS condition
    FROM episodes
    WHERE is_due
),
used AS (
    SELECT due.condition AS condition, readings.measure AS measure
    FROM readings INNER JOIN due ON readings.episode = due.episode
    GROUP BY due.condition, readings.measure
),
expected AS (
    SELECT due.episode AS episode, due.condition AS condition, used.measure AS measure
    FROM due INNER JOIN used ON due.condition = used.condition
),
scored AS (
    SELECT
        episode,
        measure,
        MAX(CASE WHEN is_baseline THEN CAST(ROUND(burden * 1000.0, 0) AS BIGINT) END) AS start_burden,
        MAX(CASE WHEN is_endpoint THEN CAST(ROUND(burden * 1000.0, 0) AS BIGINT) END) AS end_burden
    FROM readings
    WHERE episode IS NOT NULL
    GROUP BY episode, measure
),
paired AS (
    SELECT
        expected.condition AS condition,
        expected.measure AS measure,
        scored.start_burden AS start_burden,
        scored.start_burden - scored.end_burden AS fall
    FROM expected
    LEFT JOIN scored ON expected.episode = scored.episode AND expected.measure = scored.measure
),
judged AS (
    SELECT
        condition,
        measure,
        CASE WHEN fall IS NULL THEN 0 ELSE 1 END AS has_outcome,
        CASE WHEN 10 * fall >= 3 * start_burden THEN 1 ELSE 0 END AS is_30,
        CASE WHEN 10 * fall >= 5 * start_burden THEN 1 ELSE 0 END AS is_50
    FROM paired
    WHERE COALESCE(start_burden, 1) > 0
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
FROM judged
GROUP BY condition, measure
ORDER BY condition, measure
