#!/usr/bin/env python3
"""One cell of a fleet's dumps made wrong, again and again: does the report come out, and does the rest stay?

    tests/bench/corrupted_cells.py --program target/release/voltwane --work /tmp/cells --runs 1000

makes a small fleet once and writes its report. Then, run by run, one cell of one dump gets another value, all
dumps are loaded into a fresh lake and the report is written. It fails where a run ends without a report. Told is
by what factor the chances of the other vehicles' batteries moved, and by how many places the first twenty.
The cells and values depend on --seed alone.
"""

import argparse
import csv
import io
import math
import pathlib
import random
import shutil
import subprocess
import sys

DATES = ["2038-01-19", "1970-01-01", "2024-02-30", "31/02/2025 25:61", "0000-00-00", "9999-12-31"]
WORDS = ["", " ", "NULL", "NaN", "inf", "-inf", "#REF!", "=1+1", "\u202e12", "\x00", "é" * 300, "lithium", "true"]
NUMBERS = ["0", "-1", "1e308", "-1e308", "1e-300", "99999999999999999999", "0,5", "1.2.3"]


def wrong(cell, rng):
    """Another value for a cell: a number far off or slightly, a day that is none, a word."""
    choices = DATES + WORDS + NUMBERS
    try:
        number = float(cell)
    except ValueError:
        pass
    else:
        choices = choices + [f"{number * factor:g}" for factor in (2, 0.5, 10, 0.1, 1000, -1)] * 4
    if len(cell) > 3:
        at = rng.randrange(len(cell))
        choices = choices + [cell[:at] + cell[at + 1:], cell[:at] + cell[at] + cell[at:], cell[::-1]] * 3
    return rng.choice([choice for choice in choices if choice != cell])


def run(command):
    done = subprocess.run(command, capture_output=True, text=True)
    return done.returncode, done.stdout + done.stderr


def report(program, dumps, work):
    """The ranking's rows by battery, or why there is none."""
    lake, out = work / "lake", work / "out"
    for folder in (lake, out):
        shutil.rmtree(folder, ignore_errors=True)
    code, said = run([program, "load", "--lake", lake, dumps])
    # 1: something was quarantined.
    if code not in (0, 1):
        return None, f"load: code {code}: {said[-500:]}"
    code, said = run([program, "weekly", "--lake", lake, "--out", out, "--as-of", "2026-06-29"])
    rankings = list(out.glob("2026-W*/ranking.csv"))
    if code not in (0, 1) or not rankings:
        return None, f"weekly: code {code}: {said[-500:]}"
    with open(rankings[0], newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    return {(row["vin"], row["position"]): row for row in rows}, None


def corrupt(dumps, rng):
    """Makes one cell wrong; says which, its file's bytes before, and the words of its row."""
    files = sorted(dumps.glob("*/*.csv"))
    file = rng.choice(files)
    before = file.read_bytes()
    try:
        text, encoding = before.decode("utf-8"), "utf-8"
    except UnicodeDecodeError:
        text, encoding = before.decode("latin-1"), "latin-1"
    comma = max(",;\t|", key=text.split("\n", 3)[1].count)
    lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=comma))
    rows = [at for at, line in enumerate(lines) if at > 0 and line]
    row = rng.choice(rows)
    words = set(lines[row])
    column = rng.randrange(len(lines[row]))
    was, lines[row][column] = lines[row][column], wrong(lines[row][column], rng)
    now = io.StringIO(newline="")
    csv.writer(now, delimiter=comma, lineterminator="\n").writerows(lines)
    file.write_bytes(now.getvalue().encode(encoding, errors="replace"))
    where = f"{file.relative_to(dumps)} line {row + 1} column {column + 1}: {was!r} -> {lines[row][column][:40]!r}"
    return file, before, words, where


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, type=lambda path: str(pathlib.Path(path).resolve()))
    parser.add_argument("--work", required=True, type=pathlib.Path)
    parser.add_argument("--runs", type=int, default=1000)
    parser.add_argument("--vehicles", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    dumps = given.work / "dumps"
    shutil.rmtree(given.work, ignore_errors=True)
    code, said = run([given.program, "synthesize", "--vehicles", str(given.vehicles), "--weeks", "104", "--seed",
                      "7", "--out", str(dumps)])
    assert code == 0, said
    whole, why = report(given.program, dumps, given.work)
    assert whole, why
    first = sorted(whole, key=lambda battery: int(whole[battery]["rank"]))[:20]
    moved, places, ended, worst = [], [], [], []
    for number in range(given.runs):
        file, before, words, where = corrupt(dumps, rng)
        ranking, why = report(given.program, dumps, given.work)
        file.write_bytes(before)
        if ranking is None:
            ended.append(f"{where}: {why}")
            print(f"NO REPORT {ended[-1]}", flush=True)
            continue
        factor, step = 1.0, 0
        for battery, row in whole.items():
            # The row's own vehicle may move as it likes.
            if battery[0] in words or row["unit_no"] in words or battery not in ranking:
                continue
            then, now = float(row["chance"]), float(ranking[battery]["chance"])
            factor = max(factor, math.exp(abs(math.log(max(now, 1e-6) / max(then, 1e-6)))))
            if battery in first:
                step = max(step, abs(int(row["rank"]) - int(ranking[battery]["rank"])))
        moved.append(factor), places.append(step), worst.append((factor, step, where))
        if (number + 1) % 50 == 0:
            print(f"# {number + 1} runs, {len(ended)} without a report", file=sys.stderr, flush=True)
    moved.sort(), places.sort()
    share = lambda values, part: values[min(int(part * len(values)), len(values) - 1)]
    print(f"{given.runs} cells, {given.vehicles} vehicles: {len(ended)} runs ended without a report")
    print("| of the runs | the other vehicles' chances moved by up to | the first twenty's ranks |\n| --- | --: | --: |")
    for name, part in (("half", 0.5), ("90 %", 0.9), ("99 %", 0.99), ("all", 1.0)):
        print(f"| {name} | x {share(moved, part):.2f} | {share(places, part)} |")
    for factor, step, where in sorted(worst, reverse=True)[:10]:
        print(f"x {factor:.2f}, {step} places: {where}")
    sys.exit(1 if ended else 0)


if __name__ == "__main__":
    main()
