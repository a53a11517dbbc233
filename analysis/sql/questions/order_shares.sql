-- In which order did the speeds peak? Shares of the orders among the counted swings in which one was
-- told, by the lesson's drills and by phase. share: 0 to 1. No drill is ''.
SELECT drills, phase, peak_order, swings,
       CAST(swings AS DOUBLE) / CAST(SUM(swings) OVER (PARTITION BY drills, phase) AS DOUBLE) AS share
FROM (
  SELECT COALESCE(drills, '') AS drills, phase, peak_order, COUNT(*) AS swings
  FROM counted_swings
  WHERE peak_order IS NOT NULL
  GROUP BY COALESCE(drills, ''), phase, peak_order
) AS counts
ORDER BY drills, phase, peak_order
