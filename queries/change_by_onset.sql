-- Question: How much did scores change from baseline to endpoint, by time since onset?
-- Asked by: clinic director
-- Reads: episodes, readings
-- Columns: condition; measure; onset (acute, subacute, persistent, not recorded); episodes (due, with both readings);
--   baseline_mean; endpoint_mean; change_mean (endpoint - baseline, in the measure's own unit); change_sd
WITH due AS (
    SELECT episode, COALESCE(condition, 'not recorded') AS condition, COALESCE(onset, 'not recorded') AS onset
    FROM episodes
    WHERE is_due
),
-- Sums of whole thousandths do not depend on the order of the rows; sums of fractions would.
baseline AS (
    SELECT episode, measure, CAST(ROUND(value * 1000.0, 0) AS BIGINT) AS start_value
    FROM readings
    WHERE is_baseline
),
endpoint AS (
    SELECT episode, measure, CAST(ROUND(value * 1000.0, 0) AS BIGINT) AS end_value
    FROM readings
    WHERE is_endpoint
),
both_readings AS (
    SELECT
        baseline.episode AS episode,
        baseline.measure AS measure,
        baseline.start_value AS start_value,
        endpoint.end_value AS end_value,
        endpoint.end_value - baseline.start_value AS change
    FROM baseline
    INNER JOIN endpoint ON baseline.episode = endpoint.episode AND baseline.measure = endpoint.measure
),
sums AS (
    SELECT
        due.condition AS condition,
        both_readings.measure AS measure,
        due.onset AS onset,
        CAST(COUNT(*) AS BIGINT) AS episodes,
        SUM(both_readings.start_value) AS sum_start,
        SUM(both_readings.end_value) AS sum_end,
        SUM(both_readings.change) AS sum_change,
        SUM(both_readings.change * both_readings.change) AS sum_squares
    FROM due INNER JOIN both_readings ON due.episode = both_readings.episode
    GROUP BY due.condition, both_readings.measure, due.onset
)
SELECT
    condition,
    measure,
    onset,
    episodes,
    sum_start / (1000.0 * episodes) AS baseline_mean,
    sum_end / (1000.0 * episodes) AS endpoint_mean,
    sum_change / (1000.0 * episodes) AS change_mean,
    SQRT((sum_squares - 1.0 * sum_change * sum_change / episodes) / NULLIF(episodes - 1, 0)) / 1000.0 AS change_sd
FROM sums
ORDER BY condition, measure, onset
