-- How much was swung? Of each bay, day and player: lessons, swings (all, and those counted), minutes
-- recorded, and the player's swings in that week over all bays (weeks begin on Monday). No bay is ''.
SELECT bay, lesson_date, player_id, lessons, swings, counted, minutes, week,
       SUM(swings) OVER (PARTITION BY player_id, week) AS swings_in_week
FROM (
  SELECT COALESCE(bay, '') AS bay, lesson_date, player_id,
         CAST(DATE_TRUNC('week', CAST(lesson_date AS TIMESTAMP)) AS DATE) AS week,
         COUNT(*) AS lessons,
         SUM(swings) AS swings,
         SUM(counted) AS counted,
         SUM(duration_s) / 60E0 AS minutes
  FROM sessions
  GROUP BY COALESCE(bay, ''), lesson_date, player_id
) AS days
ORDER BY bay, lesson_date, player_id
