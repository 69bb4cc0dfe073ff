"""Compares reference tables with the same ones made anew: python compare.py KEPT ANEW

Text must be the same, numbers within 1e-6 of themselves: other processors round otherwise. Ends with 1
and the first difference of each table where they do not agree.
"""

import csv
import math
import pathlib
import sys


def cells(path):
    with open(path, newline="") as file:
        return list(csv.reader(file))


def same(kept, anew):
    if kept == anew:
        return True
    try:
        return math.isclose(float(kept), float(anew), rel_tol=1e-6, abs_tol=1e-12)
    except ValueError:
        return False


def difference(kept, anew):
    if len(kept) != len(anew):
        return f"{len(kept)} lines, made anew {len(anew)}"
    for number, (left, right) in enumerate(zip(kept, anew), start=1):
        if len(left) != len(right) or not all(map(same, left, right)):
            return f"line {number}: {','.join(left)}, made anew {','.join(right)}"
    return None


kept_folder, anew_folder = map(pathlib.Path, sys.argv[1:3])
tables = sorted(path.relative_to(kept_folder) for path in kept_folder.rglob("*.csv"))
failed = not tables
for table in tables:
    found = difference(cells(kept_folder / table), cells(anew_folder / table))
    if found:
        failed = True
        print(f"{table}: {found}")
print(f"{len(tables)} tables of reference values compared")
sys.exit(failed)
