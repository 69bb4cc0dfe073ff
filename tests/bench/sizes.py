#!/usr/bin/env python3
"""Times and peak memory at several sizes of fleet, and the queries paired with another engine.

    tests/bench/sizes.py --program target/release/voltwane --work /tmp/bench 400 2000 10000

makes each fleet once under --work, loads it, writes the weekly report and asks one question, and prints
the table that DEVELOPERS.md shows. `--memory MIB` sets limits.memory_mb; `--repeat N` writes the report
N times; `--pairs` runs the project's SQL on the same rows in DuckDB (`pip install duckdb`), here and there each query by
itself on what it reads, three times, the best told.

Peak memory is the largest resident set of the process, as the kernel counts it (wait4).
"""

import argparse
import os
import pathlib
import re
import subprocess
import sys
import time

ROOT = pathlib.Path(__file__).resolve().parents[2]
QUESTION = "SELECT depot, COUNT(*) FROM fleet_vehicle GROUP BY depot"

# Queries that both engines can run as they stand, once the functions below are there.
PAIRED = [
    "order_line", "scan_session", "session_code", "code_session", "code_clear", "battery_span",
    "battery_condition", "battery_life", "depot_stay", "last_scan", "vehicle_week",
]
MACROS = """
CREATE MACRO days_between(a, b) AS date_diff('day', CAST(a AS DATE), CAST(b AS DATE));
CREATE MACRO day_plus(a, n) AS CAST(CAST(a AS DATE) + CAST(n AS INTEGER) AS DATE);
CREATE MACRO sample_share(t) AS CAST(('0x' || substr(md5(t), 1, 8)) AS BIGINT) / 4294967296.0;
CREATE MACRO regexp_like(t, p) AS regexp_matches(t, p);
CREATE MACRO code_group(c, f, m) AS CASE WHEN c LIKE 'U%' THEN 'lost communication' ELSE 'other' END;
"""


def run(command, **more):
    """Seconds, peak MiB, exit code and output of a command."""
    began = time.time()
    with open("/tmp/bench.out", "w+") as out, open("/tmp/bench.err", "w+") as err:
        process = subprocess.Popen(command, stdout=out, stderr=err, **more)
        _, status, used = os.wait4(process.pid, 0)
        out.seek(0), err.seek(0)
        code = os.waitstatus_to_exitcode(status)
        return time.time() - began, used.ru_maxrss / 1024, code, out.read(), err.read()


def fleet(program, work, vehicles, weeks):
    """The dumps of an invented fleet, made once."""
    dumps = work / f"{vehicles}x{weeks}" / "dumps"
    if not dumps.exists():
        command = [program, "synthesize", "--vehicles", str(vehicles), "--weeks", str(weeks), "--seed", "7"]
        seconds, _, code, _, err = run(command + ["--out", str(dumps)])
        assert code == 0, err
        print(f"# {vehicles} x {weeks} made in {seconds:.0f} s", file=sys.stderr)
    return dumps


def measured(program, work, vehicles, weeks, memory, repeat):
    place = work / f"{vehicles}x{weeks}"
    dumps, lake = fleet(program, work, vehicles, weeks), place / "lake"
    config = place / "bench.toml"
    config.write_text("[limits]\nquery_seconds = 100000\n" + (f"memory_mb = {memory}\n" if memory else ""))
    cells = [f"{vehicles:,} × {weeks}"]
    if not lake.exists():
        seconds, peak, code, _, err = run([program, "load", "--lake", str(lake), str(dumps)])
        assert code in (0, 1), err
        cells.append(f"{seconds:.1f} s, {peak / 1024:.2f} GiB")
    else:
        cells.append("loaded before")
    options = ["--lake", str(lake), "--config", str(config)]
    runs = []
    for _ in range(repeat):
        seconds, peak, code, _, err = run([program, "weekly", *options, "--out", str(place / "reports")])
        runs.append((seconds, peak, code))
        if code != 0:
            print(f"# weekly failed: {err[-400:]}", file=sys.stderr)
    good = [one for one in runs if one[2] == 0]
    if good:
        worst = max(peak for _, peak, _ in good) / 1024
        cells.append(f"{min(s for s, _, _ in good):.1f}–{max(s for s, _, _ in good):.1f} s, {worst:.2f} GiB")
    else:
        cells.append("–")
    cells.append(f"{len(good)} of {repeat}")
    seconds, peak, code, _, err = run([program, "sql", *options, QUESTION])
    cells.append(f"{seconds:.2f} s, {peak / 1024:.2f} GiB" if code == 0 else "failed")
    return cells


def reads_of(sql):
    return set(re.findall(r"(?:FROM|JOIN)\s+([a-z_]+)\b", sql))


def paired(program, work, vehicles, weeks, features):
    """Seconds of each query here and in DuckDB, on the same rows of what it reads."""
    import duckdb

    place = work / f"{vehicles}x{weeks}"
    lake, given = place / "lake", place / "given"
    given.mkdir(exist_ok=True)
    config = place / "bench.toml"
    texts = {path.stem: path.read_text() for path in (ROOT / "queries").glob("*/*.sql")}
    options = ["--lake", str(lake), "--config", str(config)]
    config.write_text("[limits]\nquery_seconds = 100000\nanswer_rows = 1000000000\nanswer_mb = 1000000\n")
    listed = run([program, "sql", "--lake", str(lake), "--list"])[3]
    tables = {line.split(":")[0] for line in listed.splitlines() if not line.startswith(" ")}
    settings = dict(
        re.findall(r"^#? ?([a-z_]+) = ([0-9.]+|true|false)$", run([program, "settings"])[3], re.M)
    )
    as_of = re.search(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", run([program, "sql", *options, "--format", "csv", "SELECT $as_of"])[3])[0]
    engine = duckdb.connect()
    engine.execute("SET threads = %d" % (os.cpu_count() or 2))
    engine.execute("SET TimeZone = 'UTC'")
    engine.execute(MACROS)
    needed = {table for name in PAIRED for table in reads_of(texts[name]) if table in tables}
    for table in sorted(needed):
        file = given / f"{table}.csv"
        if not file.exists():
            with open(file, "w") as out:
                subprocess.run([program, "sql", *options, "--format", "csv", f"SELECT * FROM {table}"], stdout=out, check=True)
        engine.execute(f"CREATE TABLE {table} AS SELECT * FROM read_csv('{file}', header = true, sample_size = -1)")
    bench = ["cargo", "bench", "--quiet", "--locked", "--features", features, "--bench", "tables", "--"]
    alone = subprocess.run(
        [*bench, str(lake.resolve()), str(config.resolve())],
        cwd=ROOT, stdout=subprocess.PIPE, text=True, check=True,
    )
    timed = {name: float(seconds) for name, seconds in map(str.split, alone.stdout.splitlines())}
    lines = ["| query | here | DuckDB | ratio |", "| --- | --: | --: | --: |"]
    for name in PAIRED:
        sql = re.sub(r"\$as_of\b", f"DATE '{as_of}'", texts[name])
        sql = re.sub(r"\$([a-z_]+)", lambda m: settings.get(m[1], "NULL"), sql)
        best, why = None, ""
        for _ in range(3):
            began = time.time()
            try:
                engine.execute(f"CREATE OR REPLACE TEMP TABLE made AS {sql}")
            except duckdb.Error as error:
                why = str(error).splitlines()[0][:80]
                break
            best = min(time.time() - began, best or 1e9)
        here = timed.get(name)
        if best is None or here is None:
            lines.append(f"| {name} | {here if here is None else f'{here:.2f} s'} | {why or '–'} | |")
        else:
            lines.append(f"| {name} | {here:.2f} s | {best:.2f} s | {here / best:.2f} |")
    return lines


def main():
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("sizes", nargs="+", help="vehicles, or VEHICLESxWEEKS")
    asked.add_argument("--program", default=str(ROOT / "target/release/voltwane"))
    asked.add_argument("--work", type=pathlib.Path, default=pathlib.Path("/tmp/voltwane-bench"))
    asked.add_argument("--memory", type=int, help="limits.memory_mb")
    asked.add_argument("--repeat", type=int, default=3)
    asked.add_argument("--pairs", action="store_true")
    asked.add_argument("--features", default="", help="of the build that --pairs times, so that one at hand is used")
    given = asked.parse_args()
    given.work.mkdir(parents=True, exist_ok=True)
    program = str(pathlib.Path(given.program).resolve())
    print(f"{os.cpu_count()} cores; memory_mb {given.memory or 'by default'}\n")
    print("| vehicles × weeks | load | weekly | done | a question |\n| --- | --: | --: | --: | --: |", flush=True)
    sizes = [tuple(map(int, (size + "x156").split("x")[:2])) for size in given.sizes]
    for vehicles, weeks in sizes:
        cells = measured(program, given.work, vehicles, weeks, given.memory, given.repeat)
        print("| " + " | ".join(cells) + " |", flush=True)
    if given.pairs:
        for vehicles, weeks in sizes:
            print(f"\n{vehicles:,} × {weeks}:\n")
            print("\n".join(paired(program, given.work, vehicles, weeks, given.features)), flush=True)


main()
