-- Question: How much care did each site give in each quarter?
-- Asked by: clinic director
-- Reads: visits
-- Columns: site; quarter of the visits; patients seen; episodes under way; episodes started (first treated visit
--   in the quarter); visits attended
WITH treated AS (
    SELECT site, COALESCE(quarter, 'not recorded') AS quarter, patient, episode, visit_no
    FROM visits
    WHERE visit_no IS NOT NULL
)
SELECT
    site,
    quarter,
    CAST(COUNT(DISTINCT patient) AS BIGINT) AS patients,
    CAST(COUNT(DISTINCT episode) AS BIGINT) AS episodes,
    CAST(COUNT(*) FILTER (WHERE visit_no = 1) AS BIGINT) AS started,
    CAST(COUNT(*) AS BIGINT) AS visits
FROM treated
GROUP BY site, quarter
ORDER BY site, quarter
