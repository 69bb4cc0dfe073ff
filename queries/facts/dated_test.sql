-- One row is one battery test with the day it was made on.
-- Reads tests. Which day a test lies on is decided here and nowhere else: the shop's own,
-- where the lake has it.
-- Not kept: it is the raw table with one column more.
SELECT *, COALESCE(local_day, CAST(tested_at AS DATE)) AS tested_on FROM battery_test
