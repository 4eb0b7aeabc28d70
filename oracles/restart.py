"""Sixty days of a node on a weak, cold cell, hour by hour: when it stops, when it is back, how often it joins.

An independent reckoning of the rule "it stops when its largest pulse would pull the voltage under the limit, and is back
when the battery rests at the restart voltage and can bear that pulse". It shares nothing with the project but the cell's
data sheet figures, written out below. Prints the figures that stand in crates/forecast/tests/restart.rs.

    python restart.py
"""

# Cell: nickel manganese cobalt oxide, 300 mAh on the label, 92.5 % of it real, 1.5 ohm, at -10 C throughout.
OPEN_CIRCUIT = [3.331, 3.491, 3.581, 3.627, 3.655, 3.6974, 3.7747, 3.869, 3.965, 4.073, 4.162]  # every 10 %
CAPACITY_MAH = 300 * 0.925
COLD_FACTOR = 3.05
BY_CHARGE = [(0.0, 2.0), (0.1, 1.25), (0.2, 1.05), (0.5, 1.0), (1.0, 1.0)]
USABLE_SHARE = 0.70
LEAK_PER_HOUR = -__import__("math").log(1 - 0.03) / 720 * 2 ** ((-10 - 25) / 10)

PULSE_A, LOAD_MA, STOPPED_MA, JOIN_MAH = 0.1, 2.0, 0.01, 0.05
STOPS_V = 3.4
SUN_MA = 3.0
DAYS = 60


def between(points, x):
    for (x0, y0), (x1, y1) in zip(points, points[1:]):
        if x <= x1:
            return y0 + (x - x0) / (x1 - x0) * (y1 - y0)
    return points[-1][1]


def rest_v(charge):
    return between([(0.1 * step, volts) for step, volts in enumerate(OPEN_CIRCUIT)], charge)


def bears_the_pulse(charge):
    ohm = 1.5 * COLD_FACTOR * between(BY_CHARGE, charge)
    return charge > 1 - USABLE_SHARE and rest_v(charge) - PULSE_A * ohm >= STOPS_V


def live(restarts_v):
    stored, running = 0.9 * CAPACITY_MAH, True
    joins = out = 0
    for hour in range(24 * DAYS):
        charge = stored / CAPACITY_MAH
        back = rest_v(charge) >= restarts_v and bears_the_pulse(charge)
        joined = not running and back
        running = bears_the_pulse(charge) if running else back
        joins += joined
        out += not running
        sunny = hour >= 24 * 10 and 8 <= hour % 24 < 16
        stored += SUN_MA * sunny - (LOAD_MA if running else STOPPED_MA) - JOIN_MAH * joined
        stored = min(max(stored, 0.0), CAPACITY_MAH)
        if hour % 6 == 5:
            # The kernel steps leaks by the quarter of a day, from the charge it then has.
            stored -= 6 * LEAK_PER_HOUR * stored
    return joins, out, stored / CAPACITY_MAH


for restarts_v in (3.7, 3.95):
    print(restarts_v, *live(restarts_v))
