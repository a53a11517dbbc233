-- What is withheld, by model of strap? Shares (0 to 1) of all swings, counted or not, of sessions in which
-- these models were worn: anything withheld; a turn of the trunk; the lead arm against the chest; the
-- sequence of peaks. A share is empty where no strap was worn that would tell. No strap is ''.
SELECT strap_pelvis, strap_thorax, strap_lead_arm,
       COUNT(*) AS swings,
       AVG(CASE WHEN withheld_n > 0 THEN 1E0 ELSE 0E0 END) AS any_share,
       AVG(CASE WHEN strap_pelvis = '' AND strap_thorax = '' THEN NULL
                WHEN withheld LIKE '%; pelvis; %' OR withheld LIKE '%; pelvis.angles; %'
                  OR withheld LIKE '%; thorax; %' OR withheld LIKE '%; thorax.angles; %' THEN 1E0
                ELSE 0E0 END) AS turn_share,
       AVG(CASE WHEN strap_lead_arm = '' THEN NULL
                WHEN withheld LIKE '%; arm.elevation_top_deg%' OR withheld LIKE '%; lead_arm; %'
                  OR withheld LIKE '%; lead_arm.angles; %' THEN 1E0
                ELSE 0E0 END) AS arm_share,
       AVG(CASE WHEN withheld LIKE '%; sequence; %' THEN 1E0 ELSE 0E0 END) AS sequence_share
FROM (
  SELECT COALESCE(sessions.strap_pelvis, '') AS strap_pelvis,
         COALESCE(sessions.strap_thorax, '') AS strap_thorax,
         COALESCE(sessions.strap_lead_arm, '') AS strap_lead_arm,
         swings.withheld_n,
         '; ' || COALESCE(swings.withheld, '') || '; ' AS withheld
  FROM swings
  JOIN sessions ON sessions.session_id = swings.session_id
) AS worn
GROUP BY strap_pelvis, strap_thorax, strap_lead_arm
ORDER BY strap_pelvis, strap_thorax, strap_lead_arm
