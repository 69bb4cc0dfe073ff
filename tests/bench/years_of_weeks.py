"""Years of weekly loads: do a load and a query for one vehicle stay as quick as they were?

    python3 tests/bench/years_of_weeks.py target/release/voltwane [--weeks 260] [--vehicles 300]

An invented fleet's records are cut into weeks, each with the week before once more as exports overlap, and
a whole register a week, and loaded week by week. At weeks 10, 60, 130 and the last it prints the medians of
five loads and of seven queries in seconds of the processor, the data files that the logs name, the files on
disk, and entries of logs.
Exit code 1 if a load or a query of the last week takes more than 1.5 times that of week 10.
"""

import argparse
import csv
import datetime as dt
import io
import json
import os
import pathlib
import resource
import statistics
import subprocess
import sys
import tempfile

TABLES = {
    "battery_test": "tested_at",
    "code_scan": "scanned_at",
    "trouble_code": "scanned_at",
    "work_order": "opened_at",
    "depot_weather": "day",
}
KEPT_BESIDE = {"load_id", "row_hash", "key_hash", "corrects", "event_year", "from_file", "from_line"}
QUERY = "SELECT tested_at, rest_voltage_v FROM battery_test WHERE vin = '{}' ORDER BY tested_at"


def run(program, arguments, now=None):
    environment = dict(os.environ)
    if now:
        environment["VOLTWANE_NOW"] = now
    done = subprocess.run([program, *arguments], capture_output=True, text=True, env=environment)
    if done.returncode not in (0, 1):
        sys.exit(f"{arguments}: {done.stderr}")
    return done.stdout


def whole_table(program, lake, table):
    text = run(program, ["sql", "--lake", lake, "--format", "csv", f"SELECT * FROM lake.{table}"])
    rows = list(csv.DictReader(io.StringIO(text)))
    return [{name: value for name, value in row.items() if name not in KEPT_BESIDE} for row in rows]


def write(path, rows):
    path.parent.mkdir(parents=True, exist_ok=True)
    with open(path, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def cut_into_weeks(program, folder, vehicles, weeks):
    dumps, lake = folder / "dumps", folder / "all"
    run(program, ["synthesize", "--vehicles", str(vehicles), "--weeks", str(weeks), "--out", str(dumps)])
    # Everything is loaded once, whatever day it is, to have it in the lake's own columns.
    run(program, ["load", "--lake", str(lake), str(dumps)], now="2100-01-01T00:00:00Z")
    facts = {table: whole_table(program, str(lake), table) for table in TABLES}
    register = whole_table(program, str(lake), "vehicle")
    last = max(dt.date.fromisoformat(row["day"]) for row in facts["depot_weather"])
    first_monday = last - dt.timedelta(days=last.weekday(), weeks=weeks - 1)
    for week in range(1, weeks + 1):
        until = first_monday + dt.timedelta(weeks=week)
        since = until - dt.timedelta(weeks=2)
        for table, column in TABLES.items():
            rows = [row for row in facts[table] if str(since) <= row[column][:10] < str(until)]
            if rows:
                write(folder / "weeks" / str(week) / f"{table}.csv", rows)
        newest = {}
        for row in sorted(register, key=lambda row: row["seen_on"]):
            if row["seen_on"] < str(until) or row["vin"] not in newest:
                newest[row["vin"]] = row
        seen_on = str(until - dt.timedelta(days=1))
        on_the_road = [
            {**row, "seen_on": seen_on} for row in newest.values() if row["in_service_date"] <= seen_on
        ]
        write(folder / "weeks" / str(week) / "vehicle.csv", on_the_road)
    return first_monday, facts["battery_test"][0]["vin"]


def files_named(table):
    """Data files that the newest state of a table's log names."""
    named = set()
    for entry in sorted((table / "_delta_log").glob("*.json")):
        for line in entry.read_text().splitlines():
            action = json.loads(line)
            if "add" in action:
                named.add(action["add"]["path"])
            if "remove" in action:
                named.discard(action["remove"]["path"])
    return len(named)


def a_week_passes(lake):
    """Makes every file of the lake a week older, as upkeep goes by the age of what no commit names any more."""
    for path in lake.rglob("*"):
        if path.is_file():
            about = path.stat()
            os.utime(path, (about.st_atime - 7 * 86_400, about.st_mtime - 7 * 86_400))


def seconds(work):
    """Seconds of the processor that the programs run by `work` took, whatever else the machine does."""
    began = resource.getrusage(resource.RUSAGE_CHILDREN)
    work()
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return ended.ru_utime - began.ru_utime + ended.ru_stime - began.ru_stime


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("program")
    parser.add_argument("--vehicles", type=int, default=300)
    parser.add_argument("--weeks", type=int, default=260)
    given = parser.parse_args()
    program = str(pathlib.Path(given.program).resolve())
    with tempfile.TemporaryDirectory(prefix="voltwane-weeks-") as place:
        folder = pathlib.Path(place)
        first_monday, vin = cut_into_weeks(program, folder, given.vehicles, given.weeks)
        lake, taken, found = folder / "lake", [], {}
        print("| week | load CPU s (median of 5, worst) | query CPU s | files named | files on disk | log entries | rows |")
        print("| ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
        for week in range(1, given.weeks + 1):
            now = f"{first_monday + dt.timedelta(weeks=week)}T06:00:00Z"
            load = ["load", "--lake", str(lake), str(folder / "weeks" / str(week))]
            taken.append(seconds(lambda: run(program, load, now)))
            a_week_passes(lake)
            if week not in (10, 60, 130, given.weeks):
                continue
            query = ["sql", "--lake", str(lake), QUERY.format(vin)]
            asked = statistics.median(seconds(lambda: run(program, query, now)) for _ in range(7))
            loads = taken[-5:]
            found[week] = (statistics.median(loads), asked)
            tables = [table for table in lake.iterdir() if table.is_dir()]
            entries = sum(len(list((table / "_delta_log").glob("*.json"))) for table in tables)
            on_disk = sum(len(list(table.rglob("*.parquet"))) for table in tables)
            checkpoints = sum(len(list((table / "_delta_log").glob("*.parquet"))) for table in tables)
            counted = "SELECT " + " + ".join(f"(SELECT COUNT(*) FROM lake.{name})" for name in [*TABLES, "vehicle"])
            rows = run(program, ["sql", "--lake", str(lake), "--format", "csv", counted], now).split()[-1]
            named = sum(files_named(table) for table in tables)
            print(
                f"| {week} | {found[week][0]:.2f}, {max(loads):.2f} | {asked:.2f} | {named} |"
                f" {on_disk - checkpoints} | {entries} | {rows} |",
                flush=True,
            )
        (early_load, early_query), (late_load, late_query) = found[10], found[given.weeks]
        print(f"load: {late_load / early_load:.2f} times week 10; query: {late_query / early_query:.2f} times")
        sys.exit(int(late_load > 1.5 * early_load or late_query > 1.5 * early_query))


main()
