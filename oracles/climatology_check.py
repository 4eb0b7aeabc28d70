"""Prints how far the built-in climatology is from weather years.

    python climatology_check.py

Reads the embedded file itself. "Held out" years had no part in the fit; "whole climate left out" fits again without
any year of that climate, the eight numbers of the covariance kept. Ratios are climatology / weather year.
"""

import pathlib
import struct

import numpy as np

import climatology as made
import climatology_fit as fit
import climatology_law as law

LAPSE_K_PER_M = 0.0065
NINETY = 1.645
# Relative deviation of a month over the years, which a single year adds to the doubt of the long mean.
ONE_YEAR = 0.121
DARK = (10, 11, 0, 1)


class Land:
    """The embedded file."""

    def __init__(self, data):
        _, cells, self.size, _ = struct.unpack("<HHHH", data[8:16])
        self.index = np.frombuffer(data, "<u2", made.ROWS * made.COLUMNS, 16).reshape(made.ROWS, made.COLUMNS)
        start = 16 + made.ROWS * made.COLUMNS * 2
        self.cells = [data[start + self.size * cell : start + self.size * (cell + 1)] for cell in range(cells)]

    def field(self, row, column, at, count, kind, unit):
        return np.frombuffer(self.cells[self.index[row, column]], kind, count, at) * unit

    def blended(self, place, *field):
        return made.blended(*place, lambda r, c: self.index[r, c] != 0xFFFF, lambda r, c: self.field(r, c, *field))

    def sun(self, latitude, longitude):
        clearness = self.blended((latitude, longitude), 0, 12, "<u2", made.CLEARNESS_UNIT)
        doubt = self.blended((latitude, longitude), 24, 12, "u1", made.DOUBT_UNIT)
        return clearness * made.months_outside_wh_m2(latitude), doubt

    def clearness_cv(self, latitude, longitude, elevation_m):
        """Relative spread of daily clearness by the law, about the embedded means."""
        unevenness = self.blended((latitude, longitude), 36, 12, "u1", made.UNEVENNESS_UNIT)
        mean = self.sun(latitude, longitude)[0] / made.months_outside_wh_m2(latitude)
        largest = [law.largest_clearness(law.noon_sine(latitude, month), elevation_m, mean[month]) for month in range(12)]
        return np.sqrt(unevenness * law.most_variance(mean, np.array(largest))) / mean

    def day_sd_k(self, latitude, longitude):
        return self.blended((latitude, longitude), 48, 12, "u1", made.SPREAD_UNIT)


def table(title, groups):
    """Rows of (name, years, ln ratios before, after, doubts, is dark) as a table of errors."""
    print(f"\n{title}\n{'':26}years   bias before  after   rms before  after   dark bias  dark rms   within 90 %")
    for name, years, before, after, doubt, dark in groups:
        inside = (np.abs(after) < NINETY * np.hypot(doubt, ONE_YEAR)).mean()
        rms = lambda values: np.sqrt((values**2).mean())
        print(f"{name:26}{years:5}{before.mean():+13.3f}{after.mean():+8.3f}{rms(before):12.3f}{rms(after):8.3f}"
              f"{after[dark].mean():+11.3f}{rms(after[dark]):10.3f}{inside:12.1%}")


def group(name, years, sun, predict):
    raw = [sun.at(one["latitude"], one["longitude"]) for one in years]
    a, before, whose = fit.usable(years, raw)
    mean, doubt = predict(a, years, whose)
    return name, len(years), -before, mean - before, doubt, np.isin(a[:, 2], DARK)


def from_file(land, sun):
    """Correction and doubt as the embedded file has them, at the points of usable()."""
    def predict(a, years, whose):
        logs, doubts = [], []
        for one in years:
            corrected, doubt = land.sun(one["latitude"], one["longitude"])
            raw = sun.at(one["latitude"], one["longitude"])
            keep = (one["outside"] > fit.LEAST_OUTSIDE_WH_M2) & np.isfinite(one["ghi_wh_m2"])
            logs.append(np.log(corrected[keep] / raw[keep]))
            doubts.append(doubt[keep])
        return np.concatenate(logs), np.concatenate(doubts)
    return predict


def worst_months(years, land, sun):
    """Ratio in each year's darkest month of the climatology, before and after."""
    before, after = [], []
    for one in years:
        raw, (corrected, _) = sun.at(one["latitude"], one["longitude"]), land.sun(one["latitude"], one["longitude"])
        month = int(np.argmin(np.where(one["outside"] > fit.LEAST_OUTSIDE_WH_M2, corrected, np.inf)))
        before.append(raw[month] / one["ghi_wh_m2"][month])
        after.append(corrected[month] / one["ghi_wh_m2"][month])
    return np.array(before), np.array(after)


def in_words(values):
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return f"median {middle:.2f}, 5 to 95 % {low:.2f} to {high:.2f}, range {values.min():.2f} to {values.max():.2f}"


def air_errors(years, air):
    """Errors of temperature, bilinear in the degree means brought to sea level."""
    errors = []
    for one in years:
        y, x = one["latitude"], one["longitude"]
        south, west = np.floor(y), np.floor(x)
        total = 0.0
        for north, wy in ((south, 1 - (y - south)), (south + 1, y - south)):
            for east, wx in ((west, 1 - (x - west)), (west + 1, x - west)):
                level = air.over(air.celsius, north, east, 0.5) + LAPSE_K_PER_M * air.height_m(north, east)
                total = total + wy * wx * level
        errors.append(total - LAPSE_K_PER_M * one["elevation_m"] - one["air_celsius"])
    return np.concatenate(errors)


def relations(name, years):
    """What the daily swing goes with; fitted here, the coefficients are in the program."""
    column = lambda key: np.concatenate([one[key] for one in years])
    clearness = column("ghi_wh_m2") / column("outside")
    swing = column("swing_k")
    for what, values, terms in (("swing", swing, [np.ones_like(clearness), clearness]),):
        matrix = np.column_stack(terms)
        best = np.linalg.lstsq(matrix, values, rcond=None)[0]
        error = matrix @ best - values
        print(f"{what}, {name}: coefficients {np.round(best, 3)}, rms {np.sqrt((error**2).mean()):.2f} K of mean "
              f"{values.mean():.2f} K")
    for root in (0.16, 0.19):
        error = (clearness / root) ** 2 - swing
        dark = clearness < 0.35
        print(f"swing by Hargreaves-Samani {root}, {name}: bias {error.mean():+.2f} K, rms "
              f"{np.sqrt((error**2).mean()):.2f} K, bias below clearness 0.35 {error[dark].mean():+.2f} K")


def main():
    land, sun, air = Land(made.OUT.read_bytes()), made.Sun(), made.Air()
    years = fit.read_years()
    counted = [one for one in years if one["role"] != "doubtful"]
    role = lambda name: [one for one in years if one["role"] == name]
    climates = sorted({one["climate"] for one in counted})

    table("Years held out, by climate, ln(climatology / year)", [
        group(climate, some, sun, from_file(land, sun))
        for climate in climates if (some := [one for one in role("held out") if one["climate"] == climate])
    ] + [group(f"all {name}", role(name), sun, from_file(land, sun)) for name in ("held out", "fit", "doubtful")])

    a, logged, whose = fit.usable(counted, [sun.at(one["latitude"], one["longitude"]) for one in counted])
    seen = [one for one in counted if one["role"] == "fit"]
    numbers = fit.fitted(*fit.usable(seen, [sun.at(one["latitude"], one["longitude"]) for one in seen])[:2])
    groups = []
    for climate in climates:
        rest = np.array([counted[who]["climate"] != climate for who in whose])
        predict = lambda b, years, whose: fit.predicted(numbers, a[rest], logged[rest], b)
        groups.append(group(climate, [one for one in counted if one["climate"] == climate], sun, predict))
    joined = [np.concatenate(parts) for parts in list(zip(*groups))[2:]]
    table("Whole climate left out", [*groups, ("all", len(counted), *joined)])

    for name in ("held out", "fit"):
        before, after = worst_months(role(name), land, sun)
        print(f"\ndarkest month, {name}: before: {in_words(before)}\n    after: {in_words(after)}")

    print("\nmean doubt by month from the hemisphere's January, all land cells with sun:")
    doubt = np.array([land.field(r, c, 24, 12, "u1", made.DOUBT_UNIT) for r in range(made.ROWS)
                      for c in range(made.COLUMNS) if sun.land[r, c]])
    north = np.array([r > 18 for r in range(made.ROWS) for c in range(made.COLUMNS) if sun.land[r, c]])
    print("  north:", " ".join(f"{value:.3f}" for value in doubt[north].mean(axis=0)))
    print("  south:", " ".join(f"{value:.3f}" for value in doubt[~north].mean(axis=0)[[6, 7, 8, 9, 10, 11, *range(6)]]))

    warm = [one for one in counted if np.isfinite(one["air_celsius"]).all()]
    errors = air_errors(warm, air)
    print(f"\nair: {len(warm)} years, bias {errors.mean():+.2f} K, rms {np.sqrt((errors**2).mean()):.2f} K, "
          f"worst {np.abs(errors).max():.1f} K at {warm[int(np.abs(errors).argmax()) // 12]['place']}")

    real = [one for one in counted if "synthetic" not in one["origin"]]
    for name in ("fit", "held out"):
        relations(name, [one for one in real if one["role"] == name and np.isfinite(one["air_celsius"]).all()])
    ratios = np.concatenate([
        land.clearness_cv(one["latitude"], one["longitude"], one["elevation_m"]) / one["clearness_cv"] for one in real])
    ratios = ratios[np.isfinite(ratios)]
    print(f"spread of daily clearness, embedded / year: median {np.median(ratios):.2f}, "
          f"mean of ln {np.log(ratios).mean():+.3f}, sd of ln {np.log(ratios).std():.3f} ({len(ratios)} months)")
    strays = np.concatenate([0.80 * land.day_sd_k(one["latitude"], one["longitude"]) / one["day_sd_k"] for one in real])
    strays = np.log(strays[np.isfinite(strays)])
    print(f"spread of temperatures within a year's month, embedded / year: mean of ln {strays.mean():+.3f}, "
          f"rms {np.sqrt((strays**2).mean()):.3f} ({len(strays)} months)")


if __name__ == "__main__":
    main()
