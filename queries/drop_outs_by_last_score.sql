-- Question: Do patients leave care early when they are doing badly, or when they are well?
-- Asked by: clinic director
-- Reads: episodes, readings
-- Columns: condition; measure; last_burden (the last reading on the common scale, 0 best to 100 worst, in quarters);
--   episodes (that ended in a known way); left_early (stopped early or lost); share (0 to 1)
WITH ended AS (
    SELECT
        episode,
        COALESCE(condition, 'not recorded') AS condition,
        CASE WHEN ended_how IN ('stopped early', 'lost') THEN 1 ELSE 0 END AS is_early
    FROM episodes
    WHERE ended_how IS NOT NULL AND ended_how <> 'ongoing'
),
numbered AS (
    SELECT
        episode,
        measure,
        burden,
        ROW_NUMBER() OVER (PARTITION BY episode, measure ORDER BY day DESC) AS from_last
    FROM readings
    WHERE episode IS NOT NULL
),
latest AS (
    SELECT episode, measure, burden
    FROM numbered
    WHERE from_last = 1
),
banded AS (
    SELECT
        ended.condition AS condition,
        latest.measure AS measure,
        CASE
            WHEN latest.burden < 25.0 THEN '0 to 24'
            WHEN latest.burden < 50.0 THEN '25 to 49'
            WHEN latest.burden < 75.0 THEN '50 to 74'
            ELSE '75 to 100'
        END AS last_burden,
        ended.is_early AS is_early
    FROM ended INNER JOIN latest ON ended.episode = latest.episode
)
SELECT
    condition,
    measure,
    last_burden,
    CAST(COUNT(*) AS BIGINT) AS episodes,
    CAST(SUM(is_early) AS BIGINT) AS left_early,
    1.0 * SUM(is_early) / COUNT(*) AS share
FROM banded
GROUP BY condition, measure, last_burden
ORDER BY condition, measure, last_burden
