"""EPANET on hoses, quadrature on pumps, pint on units."""

from __future__ import annotations

import os
import tempfile
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import wntr
from pint import UnitRegistry
from scipy.integrate import quad

from jobs.physics.hydraulics import hose_flow_l_min, pump_out_h
from jobs.physics.units import UNITS, convert
from tests.physics.opinions.opinion import Opinion, cases_of


def hose_flow(seed: int, count: int) -> Opinion:
    """Each hose between a reservoir at the tap's pressure head and one at the height of its open end."""

    random = np.random.default_rng(seed)
    pressure, length = random.uniform(50, 600, count), random.uniform(5, 150, count)
    diameter, roughness = random.uniform(9, 40, count), random.uniform(100, 150, count)
    network = wntr.network.WaterNetworkModel()
    network.options.hydraulic.headloss = "H-W"
    network.options.hydraulic.accuracy = 1e-7
    network.options.time.duration = 0
    for n in range(count):
        network.add_reservoir(f"tap{n}", base_head=pressure[n] / 9.80665)
        network.add_reservoir(f"end{n}", base_head=0)
        network.add_junction(f"middle{n}", elevation=0)
        for part, (start, end) in enumerate(((f"tap{n}", f"middle{n}"), (f"middle{n}", f"end{n}"))):
            network.add_pipe(f"hose{n}-{part}", start, end, length[n] / 2, diameter[n] / 1000, roughness[n])
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library warns of its own time settings
        prefix = os.fspath(Path(folder) / "hoses")
        flows = wntr.sim.EpanetSimulator(network).run_sim(file_prefix=prefix).link["flowrate"]
    theirs = flows.loc[0, [f"hose{n}-0" for n in range(count)]].to_numpy(dtype=float) * 60_000
    ours = np.asarray(hose_flow_l_min(pressure, length, diameter, roughness))
    cases = cases_of(pressure_kpa=pressure, length_m=length, diameter_mm=diameter, roughness_c=roughness)
    why = "the engine has the exponent 4.871 of the diameter where the metric form prints 4.8704"
    return Opinion("EPANET (wntr)", "hose flow", "", ours, theirs, 0.002, why, cases, relative=True)


def pump_out(seed: int, count: int) -> Opinion:

    random = np.random.default_rng(seed)
    area, flow, shutoff = random.uniform(5, 200, count), random.uniform(40, 900, count), random.uniform(5, 40, count)
    start = shutoff * random.uniform(0, 0.5, count)
    end = start + (shutoff - start) * random.uniform(0.05, 0.9, count)

    def hours(a: float, q: float, h0: float, h1: float, h2: float) -> float:
        return float(quad(lambda h: a / (q * 60 / 1000 * (1 - h / h0)), h1, h2)[0])

    table = list(zip(area, flow, shutoff, start, end, strict=True))
    theirs = np.array([hours(*row) for row in table])
    ours = np.asarray(pump_out_h(area, flow, shutoff, start, end))
    cases = cases_of(area_m2=area, flow_l_min=flow, shutoff_m=shutoff, from_m=start, to_m=end)
    return Opinion(
        "scipy", "pump-out time by quadrature", "", ours, theirs, 1e-8, "quadrature error", cases, relative=True
    )


def unit_conversions(seed: int, count: int) -> Opinion:

    registry: Any = UnitRegistry()
    names = {
        "in": "inch", "gal": "gallon", "pt": "pint", "fl oz": "fluid_ounce", "kn": "knot", "gpm": "gallon/minute",
        "psf": "lbf/foot**2", "C": "degC", "F": "degF", "K": "kelvin", "delta C": "delta_degC",
        "delta F": "delta_degF", "t": "metric_ton", "h": "hour", "d": "day", "oz": "ounce", "lb": "pound",
        "mph": "mile/hour", "km/h": "kilometer/hour", "hp": "horsepower",
        "ft2": "foot**2", "yd2": "yard**2", "ft3": "foot**3", "yd3": "yard**3", "m2": "meter**2", "m3": "meter**3",
        "m3/s": "meter**3/second", "m3/h": "meter**3/hour", "L/min": "liter/minute", "kg/m2/h": "kg/meter**2/hour",
        "lb/ft2/h": "pound/foot**2/hour", "kg/m2": "kg/meter**2", "lb/ft2": "pound/foot**2", "kg/m3": "kg/meter**3",
        "lb/ft3": "pound/foot**3", "g": "gram", "min": "minute",
    }  # fmt: skip
    random = np.random.default_rng(seed)
    pairs = [(a, b) for a in UNITS for b in UNITS if UNITS[a][0] == UNITS[b][0]]
    values = random.uniform(1, 1000, len(pairs))
    chosen = list(zip(pairs, values, strict=True))
    ours = np.array([convert(value, a, b) for (a, b), value in chosen])
    theirs = np.array([registry.Quantity(v, names.get(a, a)).to(names.get(b, b)).magnitude for (a, b), v in chosen])
    cases = [f"{value:.4g} {a} to {b}" for (a, b), value in chosen]
    return Opinion("pint", "units, every pair", "", ours, theirs, 1e-9, "exact by definition", cases, relative=True)
