"""How fast the usual chain of numpy and pvlib is on the hours that a node lives, beside our own.

One year of hours on the frost mast's plane: sun positions, Erbs split, Perez transposition, reflection, cell
temperature, current of a panel pinned at the battery's voltage, and a store that is charged and drained hour by hour.
Once as usual, and once with the sun positions (and all that hangs on them alone) computed beforehand, as in a second
year at the same place.

    python speed.py [LIVES]

LIVES is a file with the output of `cargo bench -p overwinter-forecast --bench lives`, made in the same minutes on the
same machine; with it the ratios are printed.
"""

import pathlib
import re
import sys
import time

import numpy as np
import pandas as pd
import pvlib

LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M = 46.99, 13.0, 640.0
TILT_DEG, AZIMUTH_DEG, ALBEDO = 60.0, 180.0, 0.2
REPEATS = 5
# A 12-cell panel of 0.5 W by De Soto's model, its battery at 3.9 V, a load of 1.5 mA, 1.5 Ah.
PANEL = {"I_L_ref": 0.0903, "I_o_ref": 2.3e-10, "R_s": 6.0, "R_sh_ref": 2500.0, "a_ref": 0.365}
BATTERY_V, LOAD_A, CAPACITY_AH = 3.9, 1.5e-3, 1.5


def drawn_days(index):
    """Clearness of each day drawn, spread over its hours: invented weather of the right size."""
    random = np.random.default_rng(1)
    return np.repeat(random.beta(2.0, 2.5, len(index) // 24), 24) * 0.8


def sky(index):
    """All that depends on the sun alone."""
    sun = pvlib.solarposition.get_solarposition(index, LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M)
    outside = pvlib.irradiance.get_extra_radiation(index)
    mass = pvlib.atmosphere.get_relative_airmass(sun["apparent_zenith"])
    incidence = pvlib.irradiance.aoi(TILT_DEG, AZIMUTH_DEG, sun["apparent_zenith"], sun["azimuth"])
    return sun, outside, mass, incidence


def panel_current(index, clearness, air_celsius, sun, outside, mass, incidence):
    """Charging current of each hour [A]."""
    up = np.cos(np.radians(sun["zenith"])).clip(lower=0.0)
    ghi = clearness * outside * up
    split = pvlib.irradiance.erbs(ghi, sun["zenith"], index)
    light = pvlib.irradiance.get_total_irradiance(
        TILT_DEG, AZIMUTH_DEG, sun["apparent_zenith"], sun["azimuth"], split["dni"], ghi, split["dhi"],
        dni_extra=outside, airmass=mass, albedo=ALBEDO, model="perez",
    )
    kept = light["poa_direct"] * pvlib.iam.physical(incidence) + 0.95 * light["poa_diffuse"]
    effective = kept.fillna(0.0).to_numpy()
    cell = pvlib.temperature.faiman(effective, air_celsius, 1.0)
    lit = effective > 0.0
    current = np.zeros(len(index))
    parts = pvlib.pvsystem.calcparams_desoto(effective[lit], cell[lit], 0.0005, **{
        "a_ref": PANEL["a_ref"], "I_L_ref": PANEL["I_L_ref"], "I_o_ref": PANEL["I_o_ref"],
        "R_sh_ref": PANEL["R_sh_ref"], "R_s": PANEL["R_s"]})
    current[lit] = np.clip(pvlib.pvsystem.i_from_v(BATTERY_V, *parts), 0.0, None)
    return current


def live(current):
    """A store through the hours; the only part that numpy can't do at once."""
    stored, out = CAPACITY_AH, 0
    for net in (current - LOAD_A).tolist():
        stored = min(max(stored + net, 0.0), CAPACITY_AH)
        out += stored == 0.0
    return stored, out


def rate(hours, run):
    """Hours per second, the best of several."""
    best = float("inf")
    for _ in range(REPEATS):
        start = time.perf_counter()
        stored, out = run()
        best = min(best, time.perf_counter() - start)
        assert 0.0 <= stored <= CAPACITY_AH and out < hours / 2, "a node that lives"
    return hours / best


def main():
    """Prints both rates, and their ratios to ours."""
    index = pd.date_range("2025-01-01 00:30", periods=8760, freq="h", tz="Etc/GMT-1")
    clearness = drawn_days(index)
    air_celsius = 8.0 - 10.0 * np.cos(2.0 * np.pi * np.arange(8760) / 8760)
    usual = rate(8760, lambda: live(panel_current(index, clearness, air_celsius, *sky(index))))
    ready = sky(index)
    precomputed = rate(8760, lambda: live(panel_current(index, clearness, air_celsius, *ready)))
    print(f"pvlib and numpy, as usual:            {usual / 1e6:.3f} million node-hours per second")
    print(f"with sun positions computed before:   {precomputed / 1e6:.3f}")
    if len(sys.argv) > 1:
        text = pathlib.Path(sys.argv[1]).read_text()
        ours = float(re.search(r"chain_node_hours_per_s (\d+)", text).group(1))
        print(f"ours, one thread:                     {ours / 1e6:.1f}")
        print(f"ratio: {ours / usual:.0f} as usual, {ours / precomputed:.0f} with sun positions computed before")


if __name__ == "__main__":
    main()
