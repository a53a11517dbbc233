-- Do the stored statistics of blocks follow from the swings? Of each measure: rows stored, rows computed
-- anew, rows that only one side has, rows that differ in n or main, and the largest differences of mean
-- and variance, relative to the larger of 1 and the stored number. Without fault: the last four are 0, or
-- rounding. Measures that only means tell have no column in swings and are not checked.
WITH stored AS (
  SELECT stats.*
  FROM block_stats AS stats
  JOIN measures ON measures.measure = stats.measure
  WHERE measures.value_column IS NOT NULL
)
SELECT COALESCE(stored.measure, anew.measure) AS measure,
       COUNT(stored.n) AS stored_rows,
       COUNT(anew.n) AS computed_rows,
       SUM(CASE WHEN stored.n IS NULL OR anew.n IS NULL THEN 1 ELSE 0 END) AS on_one_side,
       SUM(CASE WHEN stored.n <> anew.n OR stored.main <> anew.main
                  OR (stored.variance IS NULL) <> (anew.variance IS NULL) THEN 1 ELSE 0 END) AS different,
       MAX(ABS(stored.mean - anew.mean) / GREATEST(1E0, ABS(stored.mean))) AS mean_off,
       MAX(ABS(stored.variance - anew.variance) / GREATEST(1E0, stored.variance)) AS variance_off
FROM stored
FULL OUTER JOIN block_stats_recomputed AS anew
  ON anew.session_id = stored.session_id
 AND anew.block_no = stored.block_no
 AND anew.measure = stored.measure
 AND anew.definition = stored.definition
GROUP BY COALESCE(stored.measure, anew.measure)
ORDER BY measure
