-- Question: How many booked visits were missed, by site and quarter?
-- Asked by: quality lead
-- Reads: visits
-- Columns: site; quarter; booked (visits with a record of who came); missed; missed_share (0 to 1)
WITH booked AS (
    SELECT site, COALESCE(quarter, 'not recorded') AS quarter, attended
    FROM visits
    WHERE attended IS NOT NULL
)
SELECT
    site,
    quarter,
    CAST(COUNT(*) AS BIGINT) AS booked,
    CAST(COUNT(*) FILTER (WHERE NOT attended) AS BIGINT) AS missed,
    1.0 * COUNT(*) FILTER (WHERE NOT attended) / COUNT(*) AS missed_share
FROM booked
GROUP BY site, quarter
ORDER BY site, quarter
