"""Writes tests.xls beside this file: the old workbook form (BIFF8 in a compound file), which no library of ours writes.

Run:  python -m venv venv && venv/bin/pip install xlwt==1.3.0 && venv/bin/python make_workbook.py
The rows are those of the other forms in tests/intake/forms.rs; VINs are from an invented prefix.
"""

import datetime
import pathlib

import xlwt

book = xlwt.Workbook()
book.add_sheet("Notes").write(0, 0, "made by hand")
sheet = book.add_sheet("Tests")
for column, name in enumerate(["vin", "tested_at", "rest_voltage_v", "temperature_c", "surface_charge_removed"]):
    sheet.write(0, column, name)
moment = xlwt.easyxf(num_format_str="yyyy-mm-dd hh:mm")
rows = [
    ("7ZV4C1A08S0000001", datetime.datetime(2026, 5, 1, 10, 30), 12.6, 21.5, True),
    ("7ZV4C1A0XS0000002", datetime.datetime(2026, 5, 2), 12.0, None, False),
]
for number, (vin, at, volts, temperature, removed) in enumerate(rows, start=1):
    sheet.write(number, 0, vin)
    sheet.write(number, 1, at, moment)
    sheet.write(number, 2, volts)
    if temperature is not None:
        sheet.write(number, 3, temperature)
    sheet.write(number, 4, removed)
book.save(str(pathlib.Path(__file__).parent / "tests.xls"))
