-- Question: What does a mixed model need to know of each episode's readings?
-- Asked by: data person
-- Reads: readings
-- Columns: episode; measure; n (readings from day 0 on); sum_x, sum_y, sum_xx, sum_xy, sum_yy, where x is ln(1 + day)
--   in millionths and y the burden in thousandths. Whole numbers, so that parts computed on several machines add up
--   to the same sums in any order; divide by 1e6, 1e3, 1e12, 1e9 and 1e6.
WITH scaled AS (
    SELECT
        episode,
        measure,
        CAST(ROUND(LN(1.0 + day) * 1000000.0, 0) AS BIGINT) AS x,
        CAST(ROUND(burden * 1000.0, 0) AS BIGINT) AS y
    FROM readings
    WHERE episode IS NOT NULL AND day >= 0
)
SELECT
    episode,
    measure,
    CAST(COUNT(*) AS BIGINT) AS n,
    CAST(SUM(x) AS BIGINT) AS sum_x,
    CAST(SUM(y) AS BIGINT) AS sum_y,
    CAST(SUM(x * x) AS BIGINT) AS sum_xx,
    CAST(SUM(x * y) AS BIGINT) AS sum_xy,
    CAST(SUM(y * y) AS BIGINT) AS sum_yy
FROM scaled
GROUP BY episode, measure
ORDER BY episode, measure
