-- Swings that enter summaries, by the product's rule and all remarks known when they were added.
SELECT * FROM swings WHERE counted
