"""The sun outside the air, as the program reckons it: what turns irradiation into clearness and back."""

import math

MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
SOLAR_CONSTANT_W_M2 = 1366.1


def day_outside_wh_m2(latitude_deg, day_of_year):
    """Irradiation of a day on the horizontal [Wh/m2]: declination of Cooper 1969, distance of Spencer 1971, Duffie &
    Beckman equation 1.10.3."""
    declination = math.radians(23.45 * math.sin(2 * math.pi * (284 + day_of_year) / 365))
    b = 2 * math.pi * (day_of_year - 1) / 365
    distance = (1.00011 + 0.034221 * math.cos(b) + 0.00128 * math.sin(b) + 0.000719 * math.cos(2 * b)
                + 7.7e-5 * math.sin(2 * b))
    latitude = math.radians(latitude_deg)
    cosine = min(1.0, max(-1.0, -math.tan(latitude) * math.tan(declination)))
    sunset = math.acos(cosine)
    up = math.cos(latitude) * math.cos(declination) * math.sin(sunset) + sunset * math.sin(latitude) * math.sin(
        declination)
    return 24 / math.pi * SOLAR_CONSTANT_W_M2 * distance * max(up, 0.0)


def months_outside_wh_m2(latitude_deg):
    """Means of the twelve months."""
    means, first = [], 1
    for days in MONTH_DAYS:
        means.append(sum(day_outside_wh_m2(latitude_deg, first + day) for day in range(days)) / days)
        first += days
    return means
