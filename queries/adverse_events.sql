-- Question: How often did something untoward happen at a visit?
-- Asked by: quality lead
-- Reads: visits
-- Columns: region; mode; site; visits (attended); recorded (visits that say yes or no); events; per_1000 (of recorded)
WITH treated AS (
    SELECT
        COALESCE(region, 'not recorded') AS region,
        COALESCE(mode, 'not recorded') AS mode,
        site,
        adverse_event
    FROM visits
    WHERE visit_no IS NOT NULL
)
SELECT
    region,
    mode,
    site,
    CAST(COUNT(*) AS BIGINT) AS visits,
    CAST(COUNT(adverse_event) AS BIGINT) AS recorded,
    CAST(COUNT(*) FILTER (WHERE adverse_event) AS BIGINT) AS events,
    1000.0 * COUNT(*) FILTER (WHERE adverse_event) / NULLIF(COUNT(adverse_event), 0) AS per_1000
FROM treated
GROUP BY region, mode, site
ORDER BY region, mode, site
