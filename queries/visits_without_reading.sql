-- Question: At how many visits was no score taken?
-- Asked by: quality lead
-- Reads: visits, readings
-- Columns: site; clinician; visits (attended); without_reading (no reading of the episode that day); share (0 to 1)
WITH scored AS (
    SELECT episode, day, CAST(COUNT(*) AS BIGINT) AS readings_that_day
    FROM readings
    WHERE episode IS NOT NULL
    GROUP BY episode, day
),
treated AS (
    SELECT site, COALESCE(clinician, 'not recorded') AS clinician, episode, day
    FROM visits
    WHERE visit_no IS NOT NULL
),
found AS (
    SELECT
        treated.site AS site,
        treated.clinician AS clinician,
        CASE WHEN scored.readings_that_day IS NULL THEN 1 ELSE 0 END AS is_without
    FROM treated
    LEFT JOIN scored ON treated.episode = scored.episode AND treated.day = scored.day
)
SELECT
    site,
    clinician,
    CAST(COUNT(*) AS BIGINT) AS visits,
    CAST(SUM(is_without) AS BIGINT) AS without_reading,
    1.0 * SUM(is_without) / COUNT(*) AS share
FROM found
GROUP BY site, clinician
ORDER BY site, clinician
