"""Writes crates/design/tests/data/battery_oracle.csv: open-circuit voltage and cold resistance by PyBaMM.

Open circuit: each parameter set's electrodes between the stoichiometries that its own voltage limits and
cyclable lithium give. Resistance: voltage dip after 2 s of 0.2 C at half charge, Doyle-Fuller-Newman model.

    python battery.py > ../crates/design/tests/data/battery_oracle.csv
"""

import numpy
import pybamm

OPEN_CIRCUIT = {"Chen2020": "nmc", "Mohtat2020": "nmc", "Ai2020": "lco", "Prada2013": "lfp"}
PULSED = ("Chen2020", "OKane2022", "Ai2020")
TEMPERATURES_CELSIUS = (25, 0, -10, -20)
PULSE_S = 2


def open_circuit(name):
    """Rows (state of charge in percent, volts)."""
    values = pybamm.ParameterValues(name)
    low, high = (values.evaluate(values[f"{side} voltage cut-off [V]"]) for side in ("Lower", "Upper"))
    for percent in range(0, 101, 5):
        negative, positive = pybamm.lithium_ion.get_initial_stoichiometries(percent / 100, values)
        temperature = values["Reference temperature [K]"]
        parameters = pybamm.LithiumIonParameters()
        difference = parameters.p.prim.U(pybamm.Scalar(positive), temperature) - parameters.n.prim.U(
            pybamm.Scalar(negative), temperature
        )
        volts = numpy.asarray(values.evaluate(difference)).item()
        assert low - 1e-3 <= volts <= high + 1e-3, (name, percent, volts)
        yield percent, volts


def pulse_resistance(name, celsius):
    """Ohms."""
    values = pybamm.ParameterValues(name)
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 273.15 + celsius
    current = 0.2 * values["Nominal cell capacity [A.h]"]
    values["Current function [A]"] = current
    simulation = pybamm.Simulation(pybamm.lithium_ion.DFN(), parameter_values=values)
    solution = simulation.solve([0, PULSE_S], initial_soc=0.5)
    # At this temperature, not at 25 C: some sets know how the open-circuit voltage moves with temperature.
    rest = solution["Bulk open-circuit voltage [V]"].entries[0]
    return (rest - solution["Voltage [V]"].entries[-1]) / current


def main():
    """Prints the table."""
    print("quantity,set,chemistry,at,value")
    for name, chemistry in OPEN_CIRCUIT.items():
        for percent, volts in open_circuit(name):
            print(f"open_circuit_volts,{name},{chemistry},{percent},{volts:.4f}")
    for name in PULSED:
        for celsius in TEMPERATURES_CELSIUS:
            print(f"pulse_ohms,{name},,{celsius},{pulse_resistance(name, celsius):.5f}")


if __name__ == "__main__":
    main()
