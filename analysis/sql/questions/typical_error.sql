-- How far does a swing lie from the mean of its block, before any drill? Standard deviation within
-- baseline blocks, pooled over a player's lessons, in the measure's unit; df: its degrees of freedom.
SELECT player_id, measure, definition,
       COUNT(*) AS blocks,
       SUM(n - 1) AS df,
       SQRT(SUM(CAST(n - 1 AS DOUBLE) * variance) / CAST(SUM(n - 1) AS DOUBLE)) AS typical_error
FROM block_stats
WHERE phase = 'baseline' AND n > 1
GROUP BY player_id, measure, definition
ORDER BY player_id, measure, definition
