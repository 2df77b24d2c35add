-- Question: Which first visits were set up far from the group's usual start?
-- Asked by: clinician, quality lead
-- Reads: visits
-- Columns: site; clinician; patient; episode; region; pull (percent of body weight) with the region's usual_pull, off by
--   more than 10 points; tension (return tension, N) with usual_tension, off by more than a quarter. Usual is
--   the median over the first visits of the region.
WITH firsts AS (
    SELECT
        site,
        clinician,
        patient,
        episode,
        COALESCE(region, 'not recorded') AS region,
        percent_body_weight AS pull,
        return_tension_n AS tension
    FROM visits
    WHERE visit_no = 1
),
usual AS (
    SELECT region, MEDIAN(pull) AS usual_pull, MEDIAN(tension) AS usual_tension
    FROM firsts
    GROUP BY region
),
compared AS (
    SELECT
        firsts.site AS site,
        firsts.clinician AS clinician,
        firsts.patient AS patient,
        firsts.episode AS episode,
        firsts.region AS region,
        firsts.pull AS pull,
        usual.usual_pull AS usual_pull,
        firsts.tension AS tension,
        usual.usual_tension AS usual_tension
    FROM firsts INNER JOIN usual ON firsts.region = usual.region
)
SELECT site, clinician, patient, episode, region, pull, usual_pull, tension, usual_tension
FROM compared
WHERE
    pull > usual_pull + 10.0
    OR pull < usual_pull - 10.0
    OR tension > 1.25 * usual_tension
    OR tension < 0.75 * usual_tension
ORDER BY site, patient, episode
