-- What changed within lessons? After less baseline, averaged over a player's lessons, in the measure's
-- unit. Lessons with two or more counted swings of one definition on both sides enter.
--   se_swings    standard error from the swings' spread, swings taken as independent
--   se_lessons   standard error from how the lessons' changes differ; two lessons or more
SELECT player_id, measure, definition,
       COUNT(*) AS lessons,
       AVG(change) AS change,
       SQRT(SUM(squared_error)) / CAST(COUNT(*) AS DOUBLE) AS se_swings,
       CASE WHEN COUNT(*) > 1 THEN STDDEV_SAMP(change) / SQRT(CAST(COUNT(*) AS DOUBLE)) END AS se_lessons
FROM (
  SELECT before.player_id, before.measure, before.definition,
         later.mean - before.mean AS change,
         before.variance / CAST(before.n AS DOUBLE) + later.variance / CAST(later.n AS DOUBLE) AS squared_error
  FROM block_stats AS before
  JOIN block_stats AS later
    ON later.session_id = before.session_id
   AND later.measure = before.measure
   AND later.definition = before.definition
  WHERE before.phase = 'baseline' AND later.phase = 'after' AND before.n > 1 AND later.n > 1
) AS changes
GROUP BY player_id, measure, definition
ORDER BY player_id, measure, definition
