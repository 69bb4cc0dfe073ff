"""Scores what was told of invented fleets against their hidden truth, as a table in Markdown.

    voltwane synthesize --vehicles 1500 --weeks 156 --seed 301 --out DIR/dumps --truth
    voltwane load --lake DIR/lake DIR/dumps
    python3 tests/reference/risk/score_against_truth.py target/release/voltwane DIR [DIR ...]

Each fleet is looked at from a day in each season with nothing but what was known then. Beside the model stand three
plainer ways: age, the last test, and a regression on the season times the condition (ridge, on the same looks).
Printed are told over true chances in all and by season; C; the true chances among the first 2 and 5 % over those of
the best order; and how many true chances the limits hold. The truth (truth.csv, of the last sixty weeks) is read
here alone; the lake never sees it. Needs numpy.
"""

import csv
import datetime
import io
import itertools
import math
import os
import subprocess
import sys
from collections import defaultdict

import numpy

SEASONS = {"summer": "2025-06-15", "autumn": "2025-09-14", "winter": "2025-12-14", "spring": "2026-03-15"}
TOLD = "SELECT vin, position, chance, chance_lower, chance_upper FROM battery_chance"
LOOKS = """SELECT vin, position, periods_back, known_on, age_days, health, failed_then, watched_days, weight
           FROM vehicle_week"""
WAYS = ("model", "regression", "last test", "age")
RIDGE = 10.0


def asked(program, lake, day, sql):
    run = [program, "sql", "--lake", lake, "--as-of", day, "--format", "csv", sql]
    text = subprocess.run(run, check=True, capture_output=True, text=True).stdout
    return list(csv.DictReader(io.StringIO(text)))


def truth(path, days):
    chances = {}
    with open(path, newline="") as file:
        for row in csv.DictReader(file):
            if row["record"] == "hazard" and row["ended"] in days:
                chances[row["vin"], row["position"], row["ended"]] = float(row["chance"])
    return chances


def columns(rows, usual):
    """Condition, age and season, and the season times the condition."""
    cells = []
    for row in rows:
        lost = math.log(0.15 + max(0.0, 1.05 - (float(row["health"]) if row["health"] else usual)))
        year = datetime.date.fromisoformat(row["known_on"]).timetuple().tm_yday / 365.25 * 2 * math.pi
        season = [math.sin(year), math.cos(year), math.sin(2 * year), math.cos(2 * year)]
        age = math.log(1 + float(row["age_days"]))
        cells.append([1.0, lost, 0.0 if row["health"] else 1.0, age, *season, *(lost * part for part in season)])
    return numpy.array(cells)


def regression(looks, now, usual):
    """A log-linear hazard by Newton's steps, each slope drawn to none."""
    past = [row for row in looks if float(row["weight"]) > 0]
    cells = columns(past, usual)
    mean, spread = cells[:, 1:].mean(0), cells[:, 1:].std(0) + 1e-9

    def scaled(cells):
        return numpy.column_stack([cells[:, 0], (cells[:, 1:] - mean) / spread])

    cells = scaled(cells)
    weight = numpy.array([float(row["weight"]) for row in past])
    watched = numpy.array([max(float(row["watched_days"]), 1.0) / 56.0 for row in past])
    failed = numpy.array([row["failed_then"] == "true" for row in past], dtype=float)
    slopes = numpy.zeros(cells.shape[1])
    slopes[0] = math.log(max((weight * failed).sum(), 0.5) / (weight * watched).sum())
    drawn = numpy.full(cells.shape[1], RIDGE)
    drawn[0] = 0.0
    for _ in range(25):
        hazard = watched * numpy.exp(numpy.clip(cells @ slopes, -30, 3))
        gradient = cells.T @ (weight * (failed - hazard)) - drawn * slopes
        curvature = (cells * (weight * hazard)[:, None]).T @ cells + numpy.diag(drawn)
        step = numpy.linalg.solve(curvature, gradient)
        slopes += numpy.clip(step, -1, 1)
    return 1 - numpy.exp(-numpy.exp(numpy.clip(scaled(columns(now, usual)) @ slopes, -30, 3)))


def concordance(pairs):
    """Expected share of pairs in the right order, of a battery that fails and one that does not."""
    right = wanted = stays = 0.0
    everyone = sum(1 - true for _, true in pairs)
    by_score = itertools.groupby(sorted(pairs), key=lambda pair: pair[0])
    for alike in ([true for _, true in group] for _, group in by_score):
        staying = sum(1 - true for true in alike)
        for true in alike:
            right += true * (stays + 0.5 * (staying - (1 - true)))
            wanted += true * (everyone - (1 - true))
        stays += staying
    return right, wanted


def score(program, folder):
    hidden = truth(f"{folder}/dumps/truth.csv", set(SEASONS.values()))
    scores = defaultdict(lambda: defaultdict(float))
    held = seen = 0
    by_season = {}
    for season, day in SEASONS.items():
        told = {(row["vin"], row["position"]): row for row in asked(program, f"{folder}/lake", day, TOLD)}
        looks = asked(program, f"{folder}/lake", day, LOOKS)
        now = [row for row in looks if row["periods_back"] == "0" and (row["vin"], row["position"], day) in hidden]
        now = [row for row in now if (row["vin"], row["position"]) in told]
        rows = [told[row["vin"], row["position"]] for row in now]
        true = [hidden[row["vin"], row["position"], day] for row in now]
        healths = [float(row["health"]) for row in now if row["health"]]
        usual = sum(healths) / max(len(healths), 1)
        ways = {
            "model": [float(row["chance"]) for row in rows],
            "regression": list(regression(looks, now, usual)),
            "last test": [-(float(row["health"]) if row["health"] else usual) for row in now],
            "age": [float(row["age_days"]) for row in now],
        }
        by_season[season] = (sum(ways["model"]), sum(true))
        for row, chance in zip(rows, true):
            held += float(row["chance_lower"]) <= chance <= float(row["chance_upper"])
            seen += 1
        for way, values in ways.items():
            right, wanted = concordance(list(zip(values, true)))
            scores[way]["right"] += right
            scores[way]["wanted"] += wanted
            order = sorted(range(len(values)), key=lambda at: -values[at])
            best = sorted(true, reverse=True)
            for share in (0.02, 0.05):
                first = max(1, round(share * len(values)))
                scores[way][f"caught {share}"] += sum(true[at] for at in order[:first])
                scores[way][f"best {share}"] += sum(best[:first])

    def ratio(seasons):
        told, true = (sum(by_season[season][at] for season in seasons) for at in (0, 1))
        return f"{told / true:.2f}"

    seasons = ", ".join(ratio([season]) for season in SEASONS)
    c = ", ".join(f"{scores[way]['right'] / scores[way]['wanted']:.3f}".lstrip("0") for way in WAYS)
    tops = [
        ", ".join(f"{100 * scores[way][f'caught {share}'] / scores[way][f'best {share}']:.0f}" for way in WAYS)
        for share in (0.02, 0.05)
    ]
    told = f"{ratio(SEASONS)} ({seasons})"
    print(f"| {os.path.basename(folder)} | {told} | {c} | {tops[0]} % | {tops[1]} % | {100 * held / seen:.0f} % |", flush=True)


if __name__ == "__main__":
    print("| fleet | told over true: in all (summer, autumn, winter, spring) | C: " + ", ".join(WAYS), end="")
    print(" | top 2 %: the same | top 5 %: the same | limits that hold |")
    print("| --- | --- | --- | --- | --- | ---: |")
    for folder in sys.argv[2:]:
        score(sys.argv[1], folder)
