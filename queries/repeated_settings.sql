-- Question: How often is a visit's record the same as the one before it, as if copied forward?
-- Asked by: quality lead
-- Reads: visits
-- Columns: site; clinician; followed (visits after another of the episode, both with pull, session and body mass);
--   same (pull, session and body mass all as before); same_share (0 to 1)
WITH ordered AS (
    SELECT
        site,
        COALESCE(clinician, 'not recorded') AS clinician,
        peak_force_n,
        session_min,
        body_mass_kg,
        LAG(peak_force_n) OVER (PARTITION BY episode ORDER BY visit_no) AS before_force,
        LAG(session_min) OVER (PARTITION BY episode ORDER BY visit_no) AS before_session,
        LAG(body_mass_kg) OVER (PARTITION BY episode ORDER BY visit_no) AS before_mass
    FROM visits
    WHERE visit_no IS NOT NULL AND peak_force_n IS NOT NULL AND session_min IS NOT NULL AND body_mass_kg IS NOT NULL
),
followed AS (
    SELECT
        site,
        clinician,
        CASE
            WHEN peak_force_n = before_force AND session_min = before_session AND body_mass_kg = before_mass THEN 1
            ELSE 0
        END AS is_same
    FROM ordered
    WHERE before_force IS NOT NULL
)
SELECT
    site,
    clinician,
    CAST(COUNT(*) AS BIGINT) AS followed,
    CAST(SUM(is_same) AS BIGINT) AS same,
    1.0 * SUM(is_same) / COUNT(*) AS same_share
FROM followed
GROUP BY site, clinician
ORDER BY site, clinician
