"""Fits the person-weeks of an invented fleet with statsmodels; prints expected.csv.

    voltwane synthesize --vehicles 400 --weeks 156 --seed 7 --out dumps
    voltwane load --lake lake dumps
    voltwane sql --lake lake --config thin.toml --format csv QUERY > person_weeks.csv

with `[risk] sample_rows = 2500` in thin.toml; QUERY takes failed_then, the weight and the columns below
from vehicle_week. Then, with the versions of tests/reference/statistics/requirements.txt:

    python fit_hazard.py > expected.csv
"""

import csv
import sys

import numpy as np
import statsmodels.api as sm

with open("person_weeks.csv", newline="") as file:
    rows = list(csv.DictReader(file))
features = [name for name in rows[0] if name not in ("failed", "weight", "log_share")]
column = lambda name: np.array([float(row[name]) for row in rows])
design = sm.add_constant(np.column_stack([column(name) for name in features]))
fit = sm.GLM(
    column("failed"),
    design,
    family=sm.families.Binomial(link=sm.families.links.CLogLog()),
    offset=column("log_share"),
    var_weights=column("weight"),
).fit(tol=1e-14, maxiter=200)
out = csv.writer(sys.stdout, lineterminator="\n")
out.writerow(["feature", "coefficient", "standard_error"])
for name, value, error in zip(["intercept", *features], fit.params, fit.bse):
    out.writerow([name, f"{value:.10f}", f"{error:.10f}"])
