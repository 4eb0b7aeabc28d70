"""Prints the points of the leaky panel of the catalogue, and what is left of it in low light.

The generic panel of 1 W is fitted to its four points by the model of De Soto et al. 2006 (Solar Energy 80,
78-88); the leaky one is the same cell with a shunt of 500 ohm that does not grow as the light falls.

    python panel.py
"""

from pvlib import ivtools, pvsystem

POINTS = {"v_mp": 6.0, "i_mp": 0.167, "v_oc": 7.2, "i_sc": 0.180}
ALPHA_PER_KELVIN, BETA_PER_KELVIN, CELLS = 0.0005, -0.0033, 12
LEAKY_OHM = 500.0
LOW_LIGHT = (200, 100, 50)


def best_power(fit, shunt_ohm, irradiance=1000.0):
    """The points at 25 C."""
    light = fit["I_L_ref"] * irradiance / 1000.0
    return pvsystem.singlediode(light, fit["I_o_ref"], fit["R_s"], shunt_ohm, fit["a_ref"])


def main():
    """Prints both panels."""
    fit, _ = ivtools.sdm.fit_desoto(
        **POINTS,
        alpha_sc=ALPHA_PER_KELVIN * POINTS["i_sc"],
        beta_voc=BETA_PER_KELVIN * POINTS["v_oc"],
        cells_in_series=CELLS,
    )
    print({key: f"{float(fit[key]):.6g}" for key in ("I_L_ref", "I_o_ref", "R_s", "R_sh_ref", "a_ref")})
    full = best_power(fit, LEAKY_OHM)
    print({key: round(float(full[key]), 4) for key in ("v_oc", "i_sc", "v_mp", "i_mp", "p_mp")})
    for irradiance in LOW_LIGHT:
        share = best_power(fit, LEAKY_OHM, irradiance)["p_mp"] / full["p_mp"] / (irradiance / 1000.0)
        print(f"{irradiance} W/m2: {float(share):.3f} of its efficiency at 1000 W/m2")


if __name__ == "__main__":
    main()
