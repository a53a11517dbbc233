-- Size, mean and variance of every measure in every block, from the swings themselves: a row for each
-- definition met. `main` is the definition of most swings; of equally frequent ones, that met first.
SELECT session_id, player_id, block_no, block, phase, measure, definition, n, mean, variance,
       ROW_NUMBER() OVER (PARTITION BY session_id, block_no, measure ORDER BY n DESC, first_swing) = 1 AS main
FROM (
  SELECT session_id, player_id, block_no, block, phase, measure, definition,
         COUNT(*) AS n, AVG(value) AS mean, VAR_SAMP(value) AS variance, MIN(swing) AS first_swing
  FROM swing_values
  GROUP BY session_id, player_id, block_no, block, phase, measure, definition
) AS grouped
