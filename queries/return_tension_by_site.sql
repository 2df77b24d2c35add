-- Question: Is the return tension set alike at all sites, and does it drift?
-- Asked by: quality lead
-- Reads: visits
-- Columns: site; region; quarter; visits; recorded (visits with a return tension); median_n; lowest_n; highest_n (newtons)
WITH treated AS (
    SELECT
        site,
        COALESCE(region, 'not recorded') AS region,
        COALESCE(quarter, 'not recorded') AS quarter,
        return_tension_n
    FROM visits
    WHERE visit_no IS NOT NULL
)
SELECT
    site,
    region,
    quarter,
    CAST(COUNT(*) AS BIGINT) AS visits,
    CAST(COUNT(return_tension_n) AS BIGINT) AS recorded,
    MEDIAN(return_tension_n) AS median_n,
    MIN(return_tension_n) AS lowest_n,
    MAX(return_tension_n) AS highest_n
FROM treated
GROUP BY site, region, quarter
ORDER BY site, region, quarter
