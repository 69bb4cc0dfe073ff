-- One row is a battery in service with its rank and chance as told and as they would be if no doubtful failure
-- counted; none where no failure that the model learns from is doubtful.
-- Reads the ranking and the chances of sure failures. Why a failure is doubtful stands in battery_end. A battery that
-- counts as failed now, or has an open call, is left where it is.
SELECT r.vin, r.position, r.unit_no, r.depot, r.rank, r.chance,
       CASE WHEN r.failed_on IS NOT NULL OR r.called_on IS NOT NULL THEN r.chance ELSE s.chance END AS sure_chance,
       ROW_NUMBER() OVER (
           ORDER BY CASE WHEN r.failed_on IS NOT NULL OR r.called_on IS NOT NULL THEN r.chance ELSE s.chance END DESC NULLS LAST, r.age_days DESC, r.vin, r.position
       ) AS sure_rank
FROM battery_risk r
JOIN sure_chance s ON s.vin = r.vin AND s.position = r.position AND s.battery_no = r.battery_no
