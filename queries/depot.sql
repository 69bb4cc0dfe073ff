-- One row is a depot.
SELECT DISTINCT depot FROM vehicle
