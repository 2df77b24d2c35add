-- Question: How much of the planned care was given?
-- Asked by: clinic director
-- Reads: episodes
-- Columns: site; ended_how; episodes (with a plan); planned (visits); delivered (visits); share (delivered of planned)
WITH with_plan AS (
    SELECT site, COALESCE(ended_how, 'not recorded') AS ended_how, planned_visits, visits AS delivered_visits
    FROM episodes
    WHERE planned_visits > 0
)
SELECT
    site,
    ended_how,
    CAST(COUNT(*) AS BIGINT) AS episodes,
    CAST(SUM(planned_visits) AS BIGINT) AS planned,
    CAST(SUM(delivered_visits) AS BIGINT) AS delivered,
    1.0 * SUM(delivered_visits) / SUM(planned_visits) AS share
FROM with_plan
GROUP BY site, ended_how
ORDER BY site, ended_how
