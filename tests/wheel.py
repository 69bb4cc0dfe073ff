"""Builds a wheel of the program and uses it as an analyst would, from an environment of its own.

    pip install -r tests/lake/requirements.txt
    python3 tests/wheel.py [--profile dev]

Fails where `pip install` does not give the command, or where the wheel's bill of materials (CycloneDX) misses a
package that is compiled in.
"""

import json
import pathlib
import subprocess
import sys
import tempfile
import venv
import zipfile

HOUSE = pathlib.Path(__file__).parent.parent


def run(*command, **how):
    return subprocess.run(command, check=True, capture_output=True, text=True, **how).stdout


def compiled_in():
    tree = run("cargo", "tree", "--locked", "--edges", "normal", "--prefix", "none", "--format", "{p}", cwd=HOUSE)
    return {tuple(line.split()[:2]) for line in tree.splitlines() if line}


with tempfile.TemporaryDirectory() as folder:
    folder = pathlib.Path(folder)
    maturin = (sys.executable, "-m", "maturin")
    run(*maturin, "build", "--locked", "--bindings", "bin", "--out", str(folder), *sys.argv[1:], cwd=HOUSE)
    (wheel,) = folder.glob("*.whl")
    venv.create(folder / "venv", with_pip=True)
    run(folder / "venv/bin/pip", "install", "--quiet", "--no-index", wheel)
    told = run(folder / "venv/bin/voltwane", "sql", "--lake", HOUSE / "sample-lake/tables", "--format", "csv",
               "SELECT COUNT(*) AS tests FROM lake.battery_test")
    header, tests = told.split()
    assert header == "tests" and int(tests) > 1000, told
    with zipfile.ZipFile(wheel) as parts:
        (bill,) = [name for name in parts.namelist() if name.endswith(".cyclonedx.json")]
        components = json.loads(parts.read(bill))["components"]
    named = {(part["name"], f"v{part['version']}") for part in components}
    missing = {package for package in compiled_in() if package not in named and package[0] != "voltwane"}
    assert len(named) > 100 and not missing, f"not in the bill of materials: {sorted(missing)}"
    unlicensed = [part["name"] for part in components if not part.get("licenses")]
    assert not unlicensed, f"without a licence: {unlicensed}"
    print(f"{wheel.name}: {wheel.stat().st_size / 1e6:.0f} MB, {tests} tests counted, {len(named)} packages named")
