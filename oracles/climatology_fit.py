"""The correction of the climatology's sun: kriging of ln(measured / climatology) over place and season.

Of features tried instead of or beside the map (clearness, latitude, height of the sun) none lowered the error at
the years held out; a region's offset is what repeats. Far from every station the correction returns to the common
mean and the doubt grows.

Covariance of two months of two places, d apart [km], month numbers counted from each hemisphere's own January:

    COMMON^2 + year^2 exp(-d / year_km) + season^2 exp(-d / season_km) exp(-2 sin^2(pi dm / 12) / season_width^2)
    + site^2 [same place]                and on the diagonal (clear + dark exp(-outside / 1500 Wh/m2))^2

The eight numbers maximise the likelihood of the years marked "fit" (weak log-normal priors, sd 1, keep them finite).
"""

import csv
import pathlib

import numpy as np
from scipy.optimize import minimize

from climatology_sun import months_outside_wh_m2

YEARS = pathlib.Path(__file__).resolve().parent.parent / "crates/forecast/tests/data/climate/weather_years.csv"
COMMON = 0.3
LEAST_OUTSIDE_WH_M2 = 150.0
NAMES = ("year_km", "season_km", "year", "season", "season_width", "site", "clear", "dark")
START = np.log([1500.0, 800.0, 0.12, 0.06, 1.0, 0.04, 0.07, 0.15])
SAME_PLACE_KM = 5.0


def read_years():
    """The weather years as dictionaries; twelve numbers per quantity, NaN where missing."""
    with YEARS.open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        for key in ("latitude", "longitude", "elevation_m"):
            row[key] = float(row[key])
        for key in ("ghi_wh_m2", "air_celsius", "swing_k", "day_sd_k", "clearness_cv"):
            row[key] = np.array([float(row.pop(f"{key}_{month}") or "nan") for month in range(1, 13)])
        row["outside"] = np.array(months_outside_wh_m2(row["latitude"]))
    return rows


def season(latitude):
    """Months 0 to 11 counted from the hemisphere's own January."""
    return (np.arange(12) + (6 if latitude < 0 else 0)) % 12


def points(places):
    """Columns latitude, longitude, month, irradiation outside: a row per month of each place."""
    return np.concatenate([
        np.column_stack([np.full(12, latitude), np.full(12, longitude), season(latitude),
                         months_outside_wh_m2(latitude)])
        for latitude, longitude in places
    ])


def distance_km(a, b):
    p, q = np.radians(a[:, 0])[:, None], np.radians(b[:, 0])[None, :]
    turn = np.radians(a[:, 1])[:, None] - np.radians(b[:, 1])[None, :]
    return 6371.0 * np.arccos(np.clip(np.sin(p) * np.sin(q) + np.cos(p) * np.cos(q) * np.cos(turn), -1, 1))


def covariance(a, b, numbers):
    year_km, season_km, year, seasonal, width, site, _, _ = numbers
    far = distance_km(a, b)
    months = np.exp(-2 * np.sin(np.pi * (a[:, 2][:, None] - b[:, 2][None, :]) / 12) ** 2 / width**2)
    return (COMMON**2 + year**2 * np.exp(-far / year_km) + seasonal**2 * np.exp(-far / season_km) * months
            + site**2 * (far < SAME_PLACE_KM))


def noise(a, numbers):
    return (numbers[6] + numbers[7] * np.exp(-a[:, 3] / 1500.0)) ** 2


def unlikelihood(logs, a, logged):
    numbers = np.exp(logs)
    factor = np.linalg.cholesky(covariance(a, a, numbers) + np.diag(noise(a, numbers)))
    scaled = np.linalg.solve(factor, logged)
    return scaled @ scaled / 2 + np.log(np.diag(factor)).sum() + ((logs - START) ** 2).sum() / 2


def fitted(a, logged):
    """The eight numbers."""
    return np.exp(minimize(unlikelihood, START, args=(a, logged), method="L-BFGS-B").x)


def predicted(numbers, a, logged, b):
    """Mean of ln(measured / climatology) at other points, and its standard deviation for the long-term mean: what a
    single year's month adds is not in it, the drawn days make that themselves."""
    inverse = np.linalg.inv(covariance(a, a, numbers) + np.diag(noise(a, numbers)))
    cross = covariance(b, a, numbers)
    own = COMMON**2 + numbers[2] ** 2 + numbers[3] ** 2 + numbers[5] ** 2
    return cross @ inverse @ logged, np.sqrt(own - np.einsum("ij,jk,ik->i", cross, inverse, cross))


def usable(years, model):
    """Points and ln(measured / climatology) of years, where the sun is high enough for a ratio; and whose they are."""
    a = points([(one["latitude"], one["longitude"]) for one in years])
    logged = np.log(np.concatenate([one["ghi_wh_m2"] for one in years]) / np.maximum(np.concatenate(model), 1e-9))
    whose = np.repeat(np.arange(len(years)), 12)
    keep = (a[:, 3] > LEAST_OUTSIDE_WH_M2) & np.isfinite(logged)
    return a[keep], logged[keep], whose[keep]
