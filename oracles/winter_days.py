"""Measured winters on a steep plane, day by day: what the split of a day into beam and diffuse is held against.

Three years of global and diffuse irradiance measured by the Deutscher Wetterdienst travel inside a public Python
package. Hourly means of both give the beam; pvlib places the sun at mid-hour and transposes by Perez 1990 to a plane
of 60 degrees facing south. Only two sums per day leave this script: global on the horizontal and on the plane.

    python winter_days.py [PACKAGES]     writes ../crates/forecast/tests/data/solar/winter_days.csv

PACKAGES is a folder that keeps the archive between runs (default: a temporary one).
"""

import csv
import pathlib
import sys
import tempfile

import numpy as np
import pandas as pd
import pvlib

from climatology_years import hourly, members

OUT = pathlib.Path(__file__).resolve().parent.parent / "crates/forecast/tests/data/solar/winter_days.csv"
ARCHIVE = "hisim-1.2.4-py2.py3-none-any.whl"
ELEVATION_M = {"Aachen": 231, "Duesseldorf": 37}
TILT_DEG, AZIMUTH_DEG, ALBEDO = 60.0, 180.0, 0.2
WINTER = (11, 12, 1, 2)
# Nearer the horizon the beam is not told from the difference of global and diffuse.
BEAM_TO_ZENITH_DEG = 87.0


def years(folder):
    """Place, latitude, longitude and hours of global and diffuse of each measured year; stamps are universal time."""
    for part, per_hour in (("dwd_10min_data/", 6), ("dwd_15min_data/", 4)):
        for _, data in members(ARCHIVE, folder, part):
            _, at, names, *rows = [row for row in csv.reader(data.decode("utf-8-sig").splitlines()) if row]
            rows = rows[: len(rows) // per_hour * per_hour]
            column = {name: [row[names.index(name)] for row in rows] for name in names}
            start = pd.Timestamp(*(int(column[name][0]) for name in ("year", "month", "day", "hour")), tz="UTC")
            ghi = hourly(column["global_irradiance"], per_hour)
            hours = pd.DataFrame(
                {"ghi": ghi, "dhi": np.minimum(hourly(column["diffuse_irradiance"], per_hour), ghi)},
                index=pd.date_range(start, periods=len(ghi), freq="h"),
            )
            yield at[0].title(), float(at[2]), float(at[1]), hours


def on_plane(hours, latitude, longitude, elevation):
    """Irradiance on the plane, hour by hour."""
    middle = hours.index + pd.Timedelta(minutes=30)
    sun = pvlib.solarposition.get_solarposition(middle, latitude, longitude, elevation)
    sun.index = hours.index
    up = np.cos(np.radians(sun["zenith"]))
    outside = pd.Series(pvlib.irradiance.get_extra_radiation(middle).to_numpy(), hours.index)
    beam = ((hours["ghi"] - hours["dhi"]) / up).where(sun["zenith"] < BEAM_TO_ZENITH_DEG, 0.0).clip(0.0, outside)
    mass = pvlib.atmosphere.get_relative_airmass(sun["apparent_zenith"])
    total = pvlib.irradiance.get_total_irradiance(
        TILT_DEG, AZIMUTH_DEG, sun["apparent_zenith"], sun["azimuth"], beam, hours["ghi"], hours["dhi"],
        dni_extra=outside, airmass=mass, albedo=ALBEDO, model="perez",
    )
    return total["poa_global"].fillna(0.0), sun


def main():
    """Writes the days and prints the winters."""
    folder = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else tempfile.mkdtemp())
    with OUT.open("w", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(["place", "latitude_deg", "longitude_deg", "elevation_m", "month", "day", "ghi_wh_m2", "in_plane_wh_m2"])
        for place, latitude, longitude, hours in years(folder):
            hours["plane"], sun = on_plane(hours, latitude, longitude, ELEVATION_M[place])
            winter = hours[hours.index.month.isin(WINTER)]
            # How far noon by the light is from noon by the sun: tells a clock that is not universal time.
            weights = hours["ghi"] * (sun["zenith"] < 85)
            off_h = float((weights * (((sun["azimuth"] - 180) / 15))).sum() / weights.sum())
            print(place, hours.index[0].year, f"plane over ground {winter['plane'].sum() / winter['ghi'].sum():.4f}",
                  f"diffuse share {winter['dhi'].sum() / winter['ghi'].sum():.3f}, light off noon by {off_h:+.2f} h")
            for day, sums in winter[["ghi", "plane"]].resample("D").sum().iterrows():
                if day.month in WINTER:
                    out.writerow([place, latitude, longitude, ELEVATION_M[place], day.month, day.day,
                                  round(sums["ghi"], 1), round(sums["plane"], 1)])


if __name__ == "__main__":
    main()
