-- Question: Whose score has not been taken for three weeks of care?
-- Asked by: clinician
-- Reads: episodes, readings, visits
-- Columns: site; clinician; patient; episode; condition; measure (each that was read in the episode, since pain asked at every
--   visit would hide a disability score that was never repeated; no reading at all: empty); last_visit_day and
--   last_reading_day (days since the first treated visit; no reading: empty); days_without (from the last reading of the
--   measure, or from the first visit, to the last visit). Episodes whose endpoint window is still open and that are not
--   recorded as ended, longest without a reading first.
WITH seen AS (
    SELECT episode, MAX(day) AS last_visit_day
    FROM visits
    WHERE visit_no IS NOT NULL
    GROUP BY episode
),
scored AS (
    SELECT episode, measure, MAX(day) AS last_reading_day
    FROM readings
    WHERE episode IS NOT NULL
    GROUP BY episode, measure
),
in_care AS (
    SELECT
        episodes.site AS site,
        episodes.clinician AS clinician,
        episodes.patient AS patient,
        episodes.episode AS episode,
        COALESCE(episodes.condition, 'not recorded') AS condition,
        seen.last_visit_day AS last_visit_day
    FROM episodes INNER JOIN seen ON episodes.episode = seen.episode
    WHERE NOT episodes.is_due AND COALESCE(episodes.ended_how, 'ongoing') = 'ongoing'
),
compared AS (
    SELECT
        in_care.site AS site,
        in_care.clinician AS clinician,
        in_care.patient AS patient,
        in_care.episode AS episode,
        in_care.condition AS condition,
        scored.measure AS measure,
        in_care.last_visit_day AS last_visit_day,
        scored.last_reading_day AS last_reading_day,
        in_care.last_visit_day - COALESCE(scored.last_reading_day, 0) AS days_without
    FROM in_care LEFT JOIN scored ON in_care.episode = scored.episode
)
SELECT site, clinician, patient, episode, condition, measure, last_visit_day, last_reading_day, days_without
FROM compared
WHERE days_without > 21
ORDER BY days_without DESC NULLS LAST, site, patient, episode, measure
