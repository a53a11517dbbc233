-- What is left at the start of the next lesson? A session starts with its phase baseline and ends with
-- after. One without an end is practice: its start is held against the lesson before, and no later one is
-- held against it.
--   gained       end less start of the lesson before
--   kept         this start less the start of the lesson before
--   since_end    this start less the end of the lesson before
-- Means over a player's pairs in the measure's unit; se_…: standard error from how the pairs differ, two
-- pairs or more. Blocks with two or more counted swings of one definition enter.
WITH courses AS (
  SELECT player_id, measure, definition, session_id, started_utc,
         MAX(CASE WHEN phase = 'baseline' THEN mean END) AS start_mean,
         MAX(CASE WHEN phase = 'after' THEN mean END) AS end_mean
  FROM block_stats
  WHERE n > 1
  GROUP BY player_id, measure, definition, session_id, started_utc
),
numbered AS (
  SELECT player_id, measure, definition, start_mean, end_mean,
         COUNT(end_mean) OVER (PARTITION BY player_id, measure, definition
                               ORDER BY started_utc, session_id
                               ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS lessons_so_far
  FROM courses
  WHERE start_mean IS NOT NULL
),
pairs AS (
  SELECT now.player_id, now.measure, now.definition,
         earlier.end_mean - earlier.start_mean AS gained,
         now.start_mean - earlier.start_mean AS kept,
         now.start_mean - earlier.end_mean AS since_end
  FROM numbered AS now
  JOIN numbered AS earlier
    ON earlier.player_id = now.player_id
   AND earlier.measure = now.measure
   AND earlier.definition = now.definition
   AND earlier.lessons_so_far = now.lessons_so_far - CASE WHEN now.end_mean IS NULL THEN 0 ELSE 1 END
  WHERE earlier.end_mean IS NOT NULL
)
SELECT player_id, measure, definition,
       COUNT(*) AS pairs,
       AVG(gained) AS gained,
       AVG(kept) AS kept,
       AVG(since_end) AS since_end,
       CASE WHEN COUNT(*) > 1 THEN STDDEV_SAMP(kept) / SQRT(CAST(COUNT(*) AS DOUBLE)) END AS se_kept,
       CASE WHEN COUNT(*) > 1 THEN STDDEV_SAMP(since_end) / SQRT(CAST(COUNT(*) AS DOUBLE)) END AS se_since_end
FROM pairs
GROUP BY player_id, measure, definition
ORDER BY player_id, measure, definition
