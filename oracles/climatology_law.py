"""The law of drawn days that the built-in climatology feeds: how uneven days are and how far temperatures stray.

All numbers are own least squares (see "The law of days" in ../crates/forecast/data/climate/README.md): of the sun over 23
measured stations of 1 to 41 years between 23 S and 62 N and the years of climatology_years.py, of the air over 36 records
of 3 to 70 years between 34 S and 69 N. Only the numbers are here, no day of any record.
"""

import numpy as np

from climatology_sun import MONTH_DAYS

LAPSE_K_PER_M = 0.0065
LEAST_CLEARNESS = 0.04
# Where a month has no sun of its own, and for places without a cell.
USUAL_UNEVENNESS = 0.23
# The least and most of the world's land; beyond, five years of low sun are noise.
UNEVENNESS_WITHIN = (0.04, 0.46)
# Measured days against MERRA-2's, as logit.
OFFSET, SLOPE = -0.583, 0.782
FIVE_MONTHS = (1, 2, 3, 2, 1)
# Air comes from so far within a day or two.
AIR_MASSES_WITHIN_KM = 1200.0
SPREAD_WITHIN_K = (0.8, 11.0)


def noon_sine(latitude_deg, month):
    """Sine of the sun's height at noon in the middle of a month; 0 in polar night. Declination of Cooper 1969."""
    middle = sum(MONTH_DAYS[:month]) + (MONTH_DAYS[month] + 1) / 2
    declination = 23.45 * np.sin(2 * np.pi * (284 + middle) / 365)
    return max(0.0, np.cos(np.radians(latitude_deg - declination)))


def largest_clearness(sine, elevation_m, mean):
    """The most clearness a day may have."""
    return max(0.66 + 0.09 * sine + 0.01 * max(elevation_m, 0.0) / 1000, mean + 0.06)


def most_variance(mean, largest):
    """The variance of days that are either the darkest or the brightest there can be."""
    share = (mean - LEAST_CLEARNESS) / (largest - LEAST_CLEARNESS)
    return share * (1 - share) * (largest - LEAST_CLEARNESS) ** 2


def unevenness_of_days(raw):
    """Unevenness of measured days from twelve of MERRA-2's, which are NaN in polar night."""
    logit = np.log(np.clip(raw, 0.005, 0.9) / (1 - np.clip(raw, 0.005, 0.9)))
    around = np.array([np.roll(logit, shift) for shift in (2, 1, 0, -1, -2)])
    weights = np.array(FIVE_MONTHS, float)[:, None] * np.isfinite(around)
    with np.errstate(invalid="ignore"):
        averaged = np.nansum(weights * np.nan_to_num(around), axis=0) / weights.sum(axis=0)
    measured = np.clip(1 / (1 + np.exp(-(OFFSET + SLOPE * averaged))), *UNEVENNESS_WITHIN)
    return np.where(np.isfinite(logit), measured, USUAL_UNEVENNESS)


def day_spread_k(contrast_k, month_celsius, latitude_deg):
    """Standard deviation of daily means about the climate, by month: of the contrast of the air around, the year's range,
    the month's warmth and the latitude."""
    year_k = np.ptp(month_celsius)
    log = (-0.513 + 0.622 * np.log(1 + contrast_k) + 0.186 * np.log(2 + year_k)
           - 0.326 * np.clip(month_celsius, -20, 18) / 20 + 0.383 * min(abs(latitude_deg), 60) / 50)
    return np.clip(np.exp(log), *SPREAD_WITHIN_K)
