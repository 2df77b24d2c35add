-- Question: Which patients were treated at more than one site?
-- Asked by: data person
-- Reads: visits
-- Columns: patient; site; visits; episodes; first_date and last_date there (empty where the export has day offsets)
WITH treated AS (
    SELECT patient, site, episode, date
    FROM visits
    WHERE visit_no IS NOT NULL
),
movers AS (
    SELECT patient
    FROM treated
    GROUP BY patient
    HAVING COUNT(DISTINCT site) > 1
)
SELECT
    patient,
    site,
    CAST(COUNT(*) AS BIGINT) AS visits,
    CAST(COUNT(DISTINCT episode) AS BIGINT) AS episodes,
    MIN(date) AS first_date,
    MAX(date) AS last_date
FROM treated
WHERE patient IN (SELECT patient FROM movers)
GROUP BY patient, site
ORDER BY patient, site
