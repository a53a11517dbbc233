-- What is left at the start of the next lesson? A session starts with its phase baseline and ends with
-- after. One without an end is practice: its start is held against the lesson before, and no later one is
-- held against it.
--   gained       end less start of the lesson before
--   kept         this start less the start of the lesson before
--   since_end    this start less the end of the lesson before
-- Means over a player's sessions in the measure's unit, with how many they are of (…_n) and their standard
-- error from how the sessions differ (se_…; two or more). Counted swings of one definition enter; where a
-- block has one alone, what would rest on it is left out.
WITH courses AS (
  SELECT player_id, measure, definition, session_id, started_utc,
         MAX(CASE WHEN phase = 'baseline' THEN n END) AS start_n,
         MAX(CASE WHEN phase = 'baseline' AND n > 1 THEN mean END) AS start_mean,
         MAX(CASE WHEN phase = 'after' THEN n END) AS end_n,
         MAX(CASE WHEN phase = 'after' AND n > 1 THEN mean END) AS end_mean
  FROM block_stats
  GROUP BY player_id, measure, definition, session_id, started_utc
),
numbered AS (
  SELECT player_id, measure, definition, start_mean, end_mean, end_n,
         COUNT(end_n) OVER (PARTITION BY player_id, measure, definition
                            ORDER BY started_utc, session_id
                            ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW) AS lessons_so_far
  FROM courses
  WHERE start_n IS NOT NULL
),
steps AS (
  SELECT now.player_id, now.measure, now.definition,
         earlier.end_mean - earlier.start_mean AS gained,
         now.start_mean - earlier.start_mean AS kept,
         now.start_mean - earlier.end_mean AS since_end
  FROM numbered AS now
  JOIN numbered AS earlier
    ON earlier.player_id = now.player_id
   AND earlier.measure = now.measure
   AND earlier.definition = now.definition
   AND earlier.lessons_so_far = now.lessons_so_far - CASE WHEN now.end_n IS NULL THEN 0 ELSE 1 END
  WHERE earlier.end_n IS NOT NULL AND now.start_mean IS NOT NULL
)
SELECT player_id, measure, definition,
       AVG(gained) AS gained,
       COUNT(kept) AS kept_n,
       AVG(kept) AS kept,
       CASE WHEN COUNT(kept) > 1 THEN STDDEV_SAMP(kept) / SQRT(CAST(COUNT(kept) AS DOUBLE)) END AS se_kept,
       COUNT(since_end) AS since_end_n,
       AVG(since_end) AS since_end,
       CASE WHEN COUNT(since_end) > 1
            THEN STDDEV_SAMP(since_end) / SQRT(CAST(COUNT(since_end) AS DOUBLE)) END AS se_since_end
FROM steps
WHERE kept IS NOT NULL OR since_end IS NOT NULL
GROUP BY player_id, measure, definition
ORDER BY player_id, measure, definition
