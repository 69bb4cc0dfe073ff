#!/usr/bin/env python3
"""The attacks that the first release did not stand, and those it did, tried again on a program.

    tests/bench/attacks.py --program target/release/voltwane --work /tmp/attacks

prints a table: what was tried, how often, how often harm was done (a fact lost, doubled or changed unsaid, a name
let out, a control byte on the terminal, an abort, a hang, more memory than told), and the largest resident set of
any of its runs. It fails where harm was done. The same attacks are tests of the suite one by one; here they run
against a built program, with kills at random moments of --seed, and with their memory measured.
"""

import argparse
import base64
import csv
import gzip
import hashlib
import html.parser
import io
import json
import os
import pathlib
import random
import re
import shutil
import signal
import subprocess
import sys
import time
import tomllib
import zipfile

SECONDS = 120  # a run that lasts longer hangs
NAMES = ["Jane Qx", "B00295", "KL-9 Rowan", "HX7ZZ1A10PK000295"]


class Program:
    """Runs the program, and remembers the most memory that a run took."""

    def __init__(self, path):
        self.path, self.peak, self.work = path, 0, None

    def start(self, *arguments, **more):
        # What is written without a folder named lies in the work folder.
        silent = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": self.work, **more}
        return subprocess.Popen([self.path, *map(str, arguments)], **silent)

    def run(self, *arguments, seconds=SECONDS):
        """Exit code, or what it died of or that it hung; and what it said."""
        out = self.work / "said.txt"
        with open(out, "wb") as said:
            began = time.time()
            process = self.start(*arguments, stdout=said, stderr=subprocess.STDOUT)
            while True:
                done, status, used = os.wait4(process.pid, os.WNOHANG)
                if done:
                    break
                if time.time() - began > seconds:
                    process.kill()
                    os.wait4(process.pid, 0)
                    return "hung", out.read_bytes()
                time.sleep(0.005)
        self.peak = max(self.peak, used.ru_maxrss / 1024)
        process.returncode = os.waitstatus_to_exitcode(status)
        return process.returncode, out.read_bytes()


def facts(program, lake):
    """Each table's facts, without which load brought them and when."""
    told = {}
    for table in ["vehicle", "battery_test", "code_scan", "trouble_code", "work_order", "depot_weather"]:
        code, said = program.run("sql", "--lake", lake, "--format", "csv", f"SELECT * FROM {table}")
        if code != 0:
            return f"{table}: {code}: {said[-200:]!r}"
        rows = csv.DictReader(io.StringIO(said.decode(), newline=""))
        told[table] = sorted(str({name: cell for name, cell in row.items() if name != "load_id"}) for row in rows)
    return told


def tree(folder):
    files = sorted(path for path in pathlib.Path(folder).rglob("*") if path.is_file())
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def one_line(code, said):
    """Whether it ended as it should: with code 2, up to three lines of why, and no byte a terminal obeys."""
    lines = [line for line in said.decode(errors="replace").splitlines() if line.strip()]
    obeyed = re.search(rb"[\x00-\x08\x0b-\x1f\x7f]", said)
    return code == 2 and len(lines) <= 3 and not obeyed and b"panicked" not in said


class Live(html.parser.HTMLParser):
    """What of a page could do something, but for the script that the page's own policy names by its hash."""

    def __init__(self, page):
        super().__init__()
        self.page, self.found, self.within = page, [], False
        self.feed(page)

    def handle_starttag(self, tag, attributes):
        self.within = tag == "script"
        if tag in ("iframe", "object", "embed", "form", "base") or any(
            name.startswith("on") or (value or "").strip().lower().startswith("javascript:") for name, value in attributes
        ):
            self.found.append(tag)

    def handle_data(self, text):
        if self.within:
            named = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
            self.found += [] if f"'sha256-{named}'" in self.page else ["script"]
            self.within = False


class Attacks:
    def __init__(self, program, work, seed):
        self.program, self.work, self.random = program, work, random.Random(seed)
        program.work = work
        self.dumps = work / "dumps"
        assert program.run("synthesize", "--vehicles", 120, "--weeks", 104, "--out", self.dumps)[0] == 0
        self.lake = work / "lake"
        began = time.time()
        assert program.run("load", "--lake", self.lake, self.dumps)[0] in (0, 1)
        self.load_seconds = time.time() - began
        self.whole = facts(program, self.lake)
        assert isinstance(self.whole, dict), self.whole
        assert program.run("weekly", "--lake", self.lake, "--as-of", "2026-06-28", "--out", work / "reports")[0] == 0

    def copy(self, name="copy"):
        to = self.work / name
        shutil.rmtree(to, ignore_errors=True)
        shutil.copytree(self.lake, to)
        return to

    def fresh(self, name="fresh"):
        to = self.work / name
        shutil.rmtree(to, ignore_errors=True)
        return to

    # Each attack gives how often it was tried and how often it did harm.

    def screen_killed(self):
        """`screen` with a seller's dumps killed at a random moment, and screened again"""
        seller = self.work / "list.csv"
        seller.write_text("vin\nGB6HD4H2XRK000999\n")
        lake, tries, harm = self.copy(), 12, 0
        before = tree(lake)
        for _ in range(tries):
            killed = self.program.start("screen", "--lake", lake, seller, self.dumps / "tests", "--as-of", "2026-06-28")
            time.sleep(self.random.uniform(0.02, 1.2))
            killed.send_signal(self.random.choice([signal.SIGKILL, signal.SIGTERM, signal.SIGINT]))
            killed.wait()
            harm += tree(lake) != before
        return tries, harm

    def two_loads(self):
        """two loads of the same dumps at once"""
        tries, harm = 5, 0
        for _ in range(tries):
            lake = self.fresh()
            both = [self.program.start("load", "--lake", lake, self.dumps) for _ in range(2)]
            codes = [one.wait() for one in both]
            harm += not set(codes) <= {0, 1} or facts(self.program, lake) != self.whole
        return tries, harm

    def load_killed(self):
        """a first load killed at a random moment, and run again"""
        tries, harm = 25, 0
        for _ in range(tries):
            lake = self.fresh()
            killed = self.program.start("load", "--lake", lake, self.dumps)
            time.sleep(self.random.uniform(0.0, self.load_seconds))
            killed.kill()
            killed.wait()
            code, _ = self.program.run("load", "--lake", lake, self.dumps)
            harm += code not in (0, 1) or facts(self.program, lake) != self.whole
        return tries, harm

    def weekly_killed(self):
        """a weekly killed at a random moment leaves the old report or the new one"""
        tries, harm, lake = 15, 0, self.copy()
        out = self.work / "killed-reports"
        shutil.rmtree(out, ignore_errors=True)
        weekly = ["weekly", "--lake", lake, "--as-of", "2026-06-28", "--out", out]
        assert self.program.run(*weekly)[0] == 0
        names = sorted(path.name for path in (out / "2026-W26").iterdir())
        for _ in range(tries):
            killed = self.program.start(*weekly)
            time.sleep(self.random.uniform(0.0, 1.8))
            killed.kill()
            killed.wait()
            there = out / "2026-W26"
            whole = there.exists() and sorted(path.name for path in there.iterdir()) == names
            harm += not whole or not (there / "report.html").read_text().rstrip().endswith("</html>")
        code, said = self.program.run("sql", "--lake", lake, "--format", "csv",
                                      "SELECT COUNT(*) - COUNT(DISTINCT vin || position) FROM risk_week")
        harm += code != 0 or said.split()[-1] not in (b"0",)
        return tries, harm

    def two_weeklies(self):
        """two weeklies at once"""
        tries, harm = 3, 0
        for _ in range(tries):
            lake, out = self.copy(), self.fresh("two-reports")
            both = [self.program.start("weekly", "--lake", lake, "--as-of", "2026-06-28", "--out", out) for _ in range(2)]
            codes = [one.wait() for one in both]
            page = (out / "2026-W26" / "report.html").read_text()
            harm += codes != [0, 0] or not page.rstrip().endswith("</html>")
            harm += bool(list(out.rglob("*.part")))
        return tries, harm

    def broken_logs(self):
        """the newest entry of each table's log empty, cut or gone: never read as fewer facts without a word"""
        tries, harm = 0, 0
        for table in ["vehicle", "battery_test", "code_scan", "trouble_code", "work_order", "depot_weather"]:
            for damage in ("empty", "cut", "gone"):
                lake = self.copy()
                entry = sorted((lake / table / "_delta_log").glob("*.json"))[-1]
                if damage == "gone":
                    entry.unlink()
                else:
                    entry.write_bytes(entry.read_bytes()[: 0 if damage == "empty" else 100])
                code, said = self.program.run("sql", "--lake", lake, f"SELECT COUNT(*) FROM {table}")
                tries, harm = tries + 1, harm + (not one_line(code, said))
        return tries, harm

    def names_out(self):
        """names in complaints, units and technicians, looked for in every file of reports made with --share"""
        dumps = self.fresh("named")
        shutil.copytree(self.dumps, dumps)
        (dumps / "named.csv").write_text(
            "order_no,vin,opened_at,closed_at,shop,technician,complaint,operation\n" + "".join(
                f"Q{n},HX7ZZ1A10PK000295,2026-06-{n:02} 08:00,2026-06-{n:02} 17:00,{NAMES[2]},{NAMES[0]},"
                f"driver {NAMES[0]} unit {NAMES[1]} says no start,{what}\n"
                for n, what in ((1, "codes cleared"), (9, "battery charged"), (20, "tow"))))
        lake = self.fresh()
        code, _ = self.program.run("load", "--lake", lake, dumps)
        assert code in (0, 1)
        code, said = self.program.run("sql", "--lake", lake, "--format", "csv",
                                      f"SELECT COUNT(*) FROM work_order WHERE complaint LIKE '%{NAMES[0]}%'")
        assert said.split()[-1] == b"3", said
        tries, harm = 0, 0
        listed = self.work / "listed.csv"
        listed.write_text("vin,note\nHX7ZZ1A10PK000295,of Jane Qx\n")
        for command in (["weekly"], ["comebacks"], ["history", NAMES[3]], ["screen", listed]):
            out = self.fresh("shared")
            code, said = self.program.run(*command, "--lake", lake, "--as-of", "2026-06-28", "--share", "--out", out)
            told = said + b"".join(path.name.encode() + path.read_bytes() for path in out.rglob("*") if path.is_file())
            for book in out.rglob("*.xlsx"):
                with zipfile.ZipFile(book) as members:
                    told += b"".join(members.read(name) for name in members.namelist())
            tries += 1
            harm += code != 0 or any(name.encode() in told for name in NAMES)
        return tries, harm

    def cut_last_line(self):
        """a dump still being written, cut within its last line: no half number is taken for a fact"""
        tries, harm = 0, 0
        for file in sorted(self.dumps.glob("*/*.csv"))[::5]:
            text = file.read_bytes().rstrip(b"\r\n")
            lines = text.count(b"\n")
            dumps, lake = self.fresh("cut"), self.fresh()
            shutil.copytree(self.dumps / "mappings", dumps / "mappings")
            (dumps / file.parent.name).mkdir()
            for cut in (1, 3):
                (dumps / file.parent.name / file.name).write_bytes(text[:-cut])
                code, said = self.program.run("load", "--lake", lake, dumps)
                tries += 1
                harm += code not in (0, 1) or (b"quarantin" not in said and b"last line" not in said and lines > 0)
        return tries, harm

    def bad_neighbours(self):
        """links that dangle or go round, a pipe, damaged files beside good ones"""
        dumps = self.fresh("neighbours")
        shutil.copytree(self.dumps, dumps)
        (dumps / "dangling.csv").symlink_to("nowhere")
        (dumps / "round").symlink_to(".")
        os.mkfifo(dumps / "pipe.csv")
        (dumps / "zeros.csv").symlink_to("/dev/zero")
        (dumps / "noise.parquet").write_bytes(self.random.randbytes(4000))
        (dumps / "noise.xlsx").write_bytes(b"PK\x03\x04" + self.random.randbytes(4000))
        (dumps / "noise.csv.gz").write_bytes(gzip.compress(b"a,b\n1,2\n")[:-6])
        with zipfile.ZipFile(dumps / "mixed.zip", "w") as members:
            members.writestr("readme.txt", "nothing")
            members.writestr("../../outside.csv", "vin\nX\n")
        lake = self.fresh()
        code, _ = self.program.run("load", "--lake", lake, dumps)
        return 1, int(code not in (0, 1) or facts(self.program, lake) != self.whole or (self.work / "outside.csv").exists())

    def named_outright(self):
        """endless and odd files named outright, as dumps, lists and settings"""
        fifo = self.work / "fifo"
        if not fifo.exists():
            os.mkfifo(fifo)
        tries, harm = 0, 0
        for odd in ("/dev/zero", "/dev/urandom", "/proc/kmsg", fifo, "/dev/null"):
            for command in (["load", "--lake", self.fresh(), odd], ["screen", "--lake", self.lake, odd],
                            ["sql", "--lake", self.lake, "--config", odd, "SELECT 1"]):
                code, said = self.program.run(*command, seconds=20)
                tries, harm = tries + 1, harm + (code not in (0, 1, 2, 3, 4) or b"panicked" in said)
        return tries, harm

    def bombs(self):
        """files of a few kilobytes that unpack to gigabytes, sheets with far cells, endless lines, deep JSON"""
        dumps = self.fresh("bombs")
        dumps.mkdir()
        big = b"vin,position\n" + b"A" * (1 << 20)
        with gzip.open(dumps / "line.csv.gz", "wb") as out:
            for _ in range(3000):
                out.write(big[-(1 << 20):])
        with zipfile.ZipFile(dumps / "many.zip", "w") as members:
            for number in range(20_000):
                members.writestr(f"{number}.csv", "")
        sheet = ('<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
                 '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="AF1048576"><v>1</v></c></row></sheetData></worksheet>')
        with zipfile.ZipFile(dumps / "far.xlsx", "w", zipfile.ZIP_DEFLATED) as book:
            sheets = range(1, 13)
            main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
            office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
            parts = "".join(f'<sheet name="s{n}" sheetId="{n}" r:id="r{n}"/>' for n in sheets)
            book.writestr("xl/workbook.xml", f'<workbook xmlns="{main}" xmlns:r="{office}"><sheets>{parts}</sheets></workbook>')
            links = "".join(f'<Relationship Id="r{n}" Type="{office}/worksheet" Target="worksheets/s{n}.xml"/>' for n in sheets)
            book.writestr("xl/_rels/workbook.xml.rels",
                          f'<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">{links}</Relationships>')
            book.writestr("[Content_Types].xml", '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"/>')
            for n in sheets:
                book.writestr(f"xl/worksheets/s{n}.xml", sheet)
        (dumps / "deep.jsonl").write_text('{"a":' * 200_000 + "1" + "}" * 200_000 + "\n")
        tries, harm = 0, 0
        for file in sorted(dumps.iterdir()):
            code, said = self.program.run("load", "--lake", self.fresh(), file)
            tries, harm = tries + 1, harm + (code not in (0, 1, 2, 3) or b"panicked" in said)
        return tries, harm

    def questions(self):
        """SQL that writes, reads files, or would never end"""
        inside = self.work / "secret.csv"
        inside.write_text("word\nsesame\n")
        harmless = (1, 2, 3)
        written = [f"COPY vehicle TO '{self.work}/out.csv'", f"CREATE EXTERNAL TABLE t STORED AS CSV LOCATION '{inside}'",
                   "DROP TABLE vehicle", "DELETE FROM vehicle", "UPDATE vehicle SET vin = 'x'", "INSERT INTO vehicle SELECT * FROM vehicle",
                   "SET datafusion.execution.batch_size = 1", f"SELECT * FROM '{inside}'", f"SELECT * FROM read_csv('{inside}')",
                   "CREATE VIEW v AS SELECT 1", "TRUNCATE TABLE vehicle", "SHOW ALL", "SELECT * FROM information_schema.df_settings",
                   "EXPLAIN ANALYZE COPY vehicle TO 'x.csv'", "CREATE FUNCTION f() RETURNS INT RETURN 1", "PREPARE p AS SELECT 1"]
        endless = ["SELECT COUNT(*) FROM depot_weather a, depot_weather b, depot_weather c, depot_weather d",
                   "WITH RECURSIVE n AS (SELECT 1 AS i UNION ALL SELECT i + 1 FROM n) SELECT COUNT(*) FROM n",
                   "SELECT a.depot, b.depot, REPEAT('x', 1000) FROM depot_weather a, depot_weather b",
                   "SELECT LENGTH(REPEAT('x', 2000000000))", "SELECT " + " + ".join(["1"] * 20_000),
                   "SELECT " + "(" * 20_000 + "1" + ")" * 20_000]
        config = self.work / "short.toml"
        config.write_text("[limits]\nquery_seconds = 5\nmemory_mb = 1000\n")
        lake = self.copy()
        before, tries, harm = tree(lake), 0, 0
        for question in written + endless:
            code, said = self.program.run("sql", "--lake", lake, "--config", config, question)
            bad = code not in harmless or b"sesame" in said or b"panicked" in said or tree(lake) != before
            tries, harm = tries + 1, harm + bad
            if bad:
                print("#", question[:80], code, said[-200:], file=sys.stderr)
        return tries, harm + (self.work / "out.csv").exists()

    def typed_text(self):
        """mark-up, script, formulas, escapes and direction marks in what people type and in file names"""
        payloads = ["<script>alert(1)</script>", "<img src=x onerror=alert(1)>", "[a](javascript:alert(1))", "=HYPERLINK(\"x\")",
                    "@SUM(A1)", "\x1b[2J\x1b[31m", "\u202egpj.exe", "{{ 7*7 }}", "| a | b |", "../../x"]
        dumps = self.fresh("typed")
        shutil.copytree(self.dumps, dumps)
        for mapping in sorted(dumps.glob("mappings/*.toml")):
            described = tomllib.loads(mapping.read_text())
            typed = {"complaint", "technician", "module_address", "depot", "model", "make", "unit_no", "date_code", "source_verdict"}
            names = {name for name, column in described["columns"].items() if column.get("field") in typed}
            for file in sorted(dumps.glob("*/*.csv")):
                text = file.read_text(encoding="latin-1")
                comma = described.get("delimiter", ",")
                lines = list(csv.reader(text.splitlines(), delimiter=comma))
                columns = [at for at, name in enumerate(lines[0]) if name in names]
                if not names & set(lines[0]) or not set(described["columns"]) <= set(lines[0]):
                    continue
                for row, line in enumerate(lines[1:]):
                    for at in columns:
                        if at < len(line) and line[at]:
                            line[at] = payloads[(row + at) % len(payloads)] + line[at]
                with open(file, "w", encoding="latin-1", errors="replace", newline="") as out:
                    csv.writer(out, delimiter=comma).writerows(lines)
            odd = dumps / "orders" / f"\x1b[31m<b>{mapping.stem}.csv"
            odd.write_text("order_no,vin\n<b>,x\n")
        lake, tries, harm = self.fresh(), 0, 0
        code, said = self.program.run("load", "--lake", lake, dumps)
        harm += code not in (0, 1) or b"\x1b" in said
        code, said = self.program.run("sql", "--lake", lake, "--format", "csv",
                                      "SELECT COUNT(*) FROM work_order WHERE complaint LIKE '%alert(1)%'")
        assert int(said.split()[-1]) > 100, "nothing was planted"
        for command in ("weekly", "comebacks"):
            out = self.fresh("typed-reports")
            code, said = self.program.run(command, "--lake", lake, "--as-of", "2026-06-28", "--out", out)
            tries += 1
            for page in out.rglob("*.html"):
                harm += bool(Live(page.read_text()).found)
            harm += code != 0 or b"\x1b" in said
        return tries + 1, harm

    def outside(self):
        """log entries that lead out of the lake"""
        tries, harm = 0, 0
        for path in ("../../secret.parquet", "/etc/passwd", "file://" + "/etc/passwd", "a/%2e%2e/%2e%2e/x.parquet"):
            lake = self.copy()
            log = sorted((lake / "depot_weather" / "_delta_log").glob("*.json"))
            entry = log[-1].with_name(f"{len(log):020}.json")
            added = {"add": {"path": path, "size": 1, "partitionValues": {}, "modificationTime": 0, "dataChange": True}}
            entry.write_text(json.dumps(added) + "\n")
            code, said = self.program.run("sql", "--lake", lake, "SELECT COUNT(*) FROM depot_weather")
            tries, harm = tries + 1, harm + (not one_line(code, said) or b"root:" in said)
        return tries, harm


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--program", required=True, type=lambda path: str(pathlib.Path(path).resolve()))
    parser.add_argument("--work", required=True, type=pathlib.Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="the attacks whose name holds this")
    given = parser.parse_args()
    shutil.rmtree(given.work, ignore_errors=True)
    given.work.mkdir(parents=True)
    program = Program(given.program)
    attacks = Attacks(program, given.work.resolve(), given.seed)
    print("| what was tried | tries | harm | peak memory |\n| --- | --: | --: | --: |")
    harmed = 0
    for name in [name for name in vars(Attacks) if not name.startswith("_") and name not in ("copy", "fresh")]:
        if given.only and given.only not in name:
            continue
        program.peak = 0
        attack = getattr(attacks, name)
        tries, harm = attack()
        harmed += harm
        peak = f"{program.peak:.0f} MiB" if program.peak else "–"
        print(f"| {attack.__doc__} | {tries} | {harm} | {peak} |", flush=True)
    sys.exit(1 if harmed else 0)


if __name__ == "__main__":
    main()
