"""Scores what was told of an invented fleet against its hidden truth.

    voltwane synthesize --vehicles 1500 --weeks 156 --seed 101 --out DIR/dumps --truth
    voltwane load --lake DIR/lake DIR/dumps
    python3 tests/reference/risk/score_against_truth.py target/debug/voltwane DIR 2025-08-24 2025-11-16 2026-02-08

The days must be Sundays of the last sixty weeks, of which truth.csv has the chances. Printed are, for the
model and for two floors (age, last test): told over true chances, in all and by day; C, and the true
chances among the first 2 and 5 % over those of the best order; and how many true chances the limits hold.
The truth is read here alone; the lake never sees it.
"""

import csv
import io
import itertools
import subprocess
import sys
from collections import defaultdict

TOLD = """SELECT c.vin, c.position, c.chance, c.chance_lower, c.chance_upper, w.age_days, w.health
          FROM battery_chance c JOIN vehicle_week w
            ON w.vin = c.vin AND w.position = c.position AND w.battery_no = c.battery_no AND w.periods_back = 0"""


def told(program, lake, day):
    run = [program, "sql", "--lake", lake, "--as-of", day, "--format", "csv", TOLD]
    text = subprocess.run(run, check=True, capture_output=True, text=True).stdout
    return list(csv.DictReader(io.StringIO(text)))


def truth(path, days):
    chances = {}
    with open(path, newline="") as file:
        for row in csv.DictReader(file):
            if row["record"] == "hazard" and row["ended"] in days:
                chances[row["vin"], row["position"], row["ended"]] = float(row["chance"])
    return chances


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


def main(program, folder, days):
    hidden = truth(f"{folder}/dumps/truth.csv", set(days))
    scores = defaultdict(lambda: defaultdict(float))
    held = seen = 0
    by_day = {}
    for day in days:
        rows = [row for row in told(program, f"{folder}/lake", day) if (row["vin"], row["position"], day) in hidden]
        true = [hidden[row["vin"], row["position"], day] for row in rows]
        healths = [float(row["health"]) for row in rows if row["health"]]
        usual = sum(healths) / max(len(healths), 1)
        ways = {
            "model": [float(row["chance"]) for row in rows],
            "age": [float(row["age_days"]) for row in rows],
            "last test": [-(float(row["health"]) if row["health"] else usual) for row in rows],
        }
        by_day[day] = sum(ways["model"]) / sum(true)
        scores["model"]["told"] += sum(ways["model"])
        scores["model"]["true"] += sum(true)
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
    model = scores["model"]
    print(f"told over true {model['told'] / model['true']:.2f}; limits hold {held / seen:.2f}")
    print("by day: " + ", ".join(f"{day} {ratio:.2f}" for day, ratio in by_day.items()))
    for way, score in scores.items():
        top = [score[f"caught {share}"] / score[f"best {share}"] for share in (0.02, 0.05)]
        print(f"{way:10} C {score['right'] / score['wanted']:.3f}  top 2 % {top[0]:.2f}  top 5 % {top[1]:.2f}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3:])
