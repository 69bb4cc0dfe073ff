#!/usr/bin/env python3
"""How many of the true battery failures of invented fleets are found, and how many called so were none.

    tests/bench/failures_found.py [--program target/release/voltwane] [--vehicles 1000] [--seeds 101 102]

For each world, fleets are made with no habit and with all habits of records, loaded and asked for what
the lake calls failures. A called and a true failure are one where vehicle and place are the same and the
days are within 45 days of each other, each used once: a failed battery may come out weeks later. Those
left over on both sides that agree but for the place are told apart. Failures of the last 45 days are left
out of both: their visit may not have come yet. Prints one line a fleet, with what was wrongly called by
its evidence.
"""

import argparse
import collections
import csv
import datetime
import json
import pathlib
import subprocess
import tempfile

WORLDS = ["smooth", "cold-reveals", "use-wears", "bad-batch", "heat-corrodes", "steps-down"]
NEAR = datetime.timedelta(days=45)


def day(text):
    return datetime.date.fromisoformat(text[:10])


def failures(program, world, habits, seed, arguments):
    """True failures and called ones of a fleet: lists of (vin, place, day, evidence)."""
    with tempfile.TemporaryDirectory() as place:
        place = pathlib.Path(place)
        dumps, lake = place / "dumps", place / "lake"
        made = [program, "synthesize", "--vehicles", str(arguments.vehicles), "--weeks", str(arguments.weeks),
                "--seed", str(seed), "--world", world, "--truth", "--out", dumps]
        for habit in habits:
            made += ["--habit", habit]
        subprocess.run(made, check=True, capture_output=True)
        truth = dumps / "truth.csv"
        true = []
        last = datetime.date.min
        with open(truth, newline="") as file:
            for row in csv.DictReader(file):
                if row["record"] == "hazard":
                    last = max(last, day(row["ended"]))
                if row["record"] == "battery" and row["what"] == "failed":
                    true.append((row["vin"], row["position"], day(row["happened_at"]), ""))
        truth.unlink()
        loaded = subprocess.run([program, "load", "--lake", lake, dumps], capture_output=True)
        assert loaded.returncode in (0, 1), loaded.stderr.decode()
        query = ("SELECT vin, position, failed_on, end_evidence || ' (' || certainty || ')' AS evidence FROM battery_life "
                 "WHERE failed_on IS NOT NULL ORDER BY vin, position, failed_on")
        told = subprocess.run([program, "sql", "--lake", lake, "--as-of", last.isoformat(), "--format", "json", query],
                              check=True, capture_output=True)
        called = [json.loads(line) for line in told.stdout.decode().splitlines()]
        called = [(row["vin"], row["position"], day(row["failed_on"]), row["evidence"]) for row in called]
    late = last - NEAR
    first = min(row[2] for row in true)
    return ([row for row in true if row[2] <= late], [row for row in called if first <= row[2] <= late])


def matched(true, called, alike):
    """Called failures without a true one, true ones without a call; `alike` is what must be the same."""
    waiting = collections.defaultdict(list)
    for row in true:
        waiting[alike(row)].append(row)
    wrong = []
    for row in called:
        near = [other for other in waiting[alike(row)] if abs(other[2] - row[2]) <= NEAR]
        if near:
            waiting[alike(row)].remove(min(near, key=lambda other: abs(other[2] - row[2])))
        else:
            wrong.append(row)
    return wrong, [row for rows in waiting.values() for row in rows]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", default="target/release/voltwane")
    parser.add_argument("--vehicles", type=int, default=1000)
    parser.add_argument("--weeks", type=int, default=156)
    parser.add_argument("--seeds", type=int, nargs="+", default=[101])
    parser.add_argument("--worlds", nargs="+", default=WORLDS)
    parser.add_argument("--habits", nargs="+", default=["none", "all"])
    arguments = parser.parse_args()
    print(f"{'world':14}{'seed':>5} {'habits':26}{'true':>6}{'called':>8}{'found':>8}{'wrong':>8}{'place':>8}{'missed':>8}{'none':>8}")
    for world in arguments.worlds:
        for seed in arguments.seeds:
            for habit in arguments.habits:
                habits = [] if habit == "none" else [habit]
                true, called = failures(arguments.program, world, habits, seed, arguments)
                wrong, missed = matched(true, called, lambda row: row[:2])
                left, wanting = len(wrong), len(missed)
                wrong, missed = matched(missed, wrong, lambda row: row[0])
                place = left - len(wrong)
                found = 1 - wanting / max(len(true), 1)
                print(f"{world:14}{seed:5} {habit:26}{len(true):6}{len(called):8}{found:8.1%}{left / max(len(called), 1):8.1%}"
                      f"{place:8}{len(missed):8}{len(wrong):8}",
                      dict(collections.Counter(row[3] for row in wrong).most_common(4)), flush=True)


if __name__ == "__main__":
    main()
