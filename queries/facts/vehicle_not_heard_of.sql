-- One row is a vehicle that the register lacks without saying that it left: to be found or taken off.
-- Reads fleet_vehicle. It is out of the plan, and was last under watch on the day it was last heard of.
SELECT vin, unit_no, depot, make, model, last_seen_on, last_heard_on, exports_missed
FROM fleet_vehicle
WHERE not_heard_of
