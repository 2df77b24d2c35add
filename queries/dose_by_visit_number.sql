-- Question: How is the dose built up from visit to visit, in percent of body weight?
-- Asked by: clinician
-- Reads: episodes, visits
-- Columns: condition; visit_no (1 is the first treated visit; up to 24); visits; with_pull (visits with a known pull and
--   body mass); median_percent; lowest_percent; highest_percent (of body weight)
WITH treated AS (
    SELECT
        COALESCE(episodes.condition, 'not recorded') AS condition,
        visits.visit_no AS visit_no,
        visits.percent_body_weight AS percent_body_weight
    FROM visits INNER JOIN episodes ON visits.episode = episodes.episode
    WHERE visits.visit_no <= 24
)
SELECT
    condition,
    visit_no,
    CAST(COUNT(*) AS BIGINT) AS visits,
    CAST(COUNT(percent_body_weight) AS BIGINT) AS with_pull,
    MEDIAN(percent_body_weight) AS median_percent,
    MIN(percent_body_weight) AS lowest_percent,
    MAX(percent_body_weight) AS highest_percent
FROM treated
GROUP BY condition, visit_no
ORDER BY condition, visit_no
