"""PHREEQC 3 with its phreeqc.dat (USGS) on random pool waters.

The waters are composed as `jobs.physics.water` says: CaCl2, NaHCO3, the rest of TDS NaCl, chloride closing the
charge. PHREEQC finds acid by holding the pH with HCl, air by `CO2(g)`, precipitation by `Calcite 0`, and counts
for a kg of water where we count for a litre.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from phreeqpython import PhreeqPython

from jobs.physics.water import (
    SUBSTANCES,
    Substance,
    acid_demand_mmol_l,
    ph_after,
    ph_in_air,
    precipitation_potential_mg_l,
    saturation_index,
)
from tests.physics.opinions.opinion import Numbers, Opinion, cases_of

LIBRARY = "PHREEQC 3 (phreeqc.dat)"
WHY = "the same constants and activity model; activity of water and pressure are left out"
BORON_MG_L = 50.0


@dataclass(frozen=True)
class Waters:
    """Random waters, each field of shape (n,)."""

    temp_c: Numbers
    ph: Numbers
    calcium: Numbers
    alkalinity: Numbers
    tds: Numbers

    @property
    def size(self) -> int:
        return int(self.ph.size)

    @property
    def made_of(self) -> tuple[Numbers, Numbers, Numbers]:
        return self.calcium, self.alkalinity, self.tds

    @property
    def kg_per_litre(self) -> Numbers:
        ions = self.calcium / 100.0869 * 110.984 + self.alkalinity / 50.04345 * 84.0066
        return np.asarray(1 - 1e-6 * np.maximum(self.tds, ions))

    def cases(self, **more: Numbers) -> list[str]:
        columns = {"T": self.temp_c, "pH": self.ph, "Ca": self.calcium, "TA": self.alkalinity, "TDS": self.tds}
        return cases_of(**columns, **more)


def waters(seed: int, count: int, ph: tuple[float, float] = (6.8, 10.5)) -> Waters:
    """Waters over the whole range of the program, calcium and alkalinity evenly in their logarithm."""
    random = np.random.default_rng(seed)
    at = random.uniform(*ph, count)
    hydroxide_mg = 50.04 * 1000 * 10.0 ** (at - 13.5)
    return Waters(
        temp_c=random.uniform(1, 40, count),
        ph=at,
        calcium=np.exp(random.uniform(np.log(10), np.log(1500), count)),
        alkalinity=np.exp(random.uniform(np.log(30), np.log(540), count)) + 1.5 * hydroxide_mg,
        tds=random.uniform(100, 10_000, count),
    )


def engine(punch: str) -> object:
    """An engine that punches one expression after every run."""
    run = PhreeqPython(database="phreeqc.dat").ip
    run.run_string(
        "PHASES\nFix_H+\nH+ = H+\nlog_k 0\nEND\n"
        f"SELECTED_OUTPUT\n-reset false\nUSER_PUNCH\n-headings x\n-start\n10 PUNCH {punch}\n-end\nEND\n"
    )
    return run


def ask(some: Waters, punch: str, body: Callable[[int], str], boron_mg_l: float = 0.0) -> Numbers:
    """What PHREEQC punches for each water after its *body* has run."""
    run = engine(punch)
    values = []
    for i in range(some.size):
        run.run_string(solution(some, i, boron_mg_l) + body(i) + "END\n")  # type: ignore[attr-defined]  # not in the stubs
        values.append(float(run.get_selected_output_array()[-1][0]))  # type: ignore[attr-defined]  # not in the stubs
    return np.array(values)


def solution(some: Waters, i: int, boron_mg_l: float) -> str:
    calcium, alkalinity = some.calcium[i] / 100.0869, some.alkalinity[i] / 50.04345
    salt = max(0.0, (some.tds[i] - calcium * 110.984 - alkalinity * 84.0066) / 58.4428)
    boron = f" B {boron_mg_l / 10.81:.8f}\n" if boron_mg_l else ""
    return (
        f"SOLUTION 1\n temp {some.temp_c[i]}\n pH {some.ph[i]}\n units mmol/L\n density 1.0\n"
        f" Ca {calcium:.8f}\n Alkalinity {alkalinity:.8f} meq/L\n Na {alkalinity + salt:.8f}\n"
        f" Cl {2 * calcium + salt:.8f} charge\n{boron}"
    )


def acid_by_phreeqc(some: Waters, target: Numbers, boron_mg_l: float = 0.0) -> Numbers:
    """HCl to hold a pH [mmol/L]."""
    per_kg = ask(
        some,
        '1000*(1-EQUI("Fix_H+"))',
        lambda i: f"EQUILIBRIUM_PHASES\nFix_H+ {-target[i]} HCl 1\n",
        boron_mg_l,
    )
    return per_kg * some.kg_per_litre


def index(seed: int, count: int) -> Opinion:
    some = waters(seed, count)
    ours = np.asarray(saturation_index(some.temp_c, some.ph, *some.made_of))
    theirs = ask(some, 'SI("Calcite")', lambda i: "")
    return Opinion(LIBRARY, "saturation index of calcite", "", ours, theirs, 0.01, WHY, some.cases())


def acid(seed: int, count: int) -> Opinion:
    """Down to some pH between 6.8 and the present one."""
    some = waters(seed, count)
    target = 6.8 + (some.ph - 6.8) * np.random.default_rng(seed).uniform(0, 1, count)
    ours = np.asarray(acid_demand_mmol_l(some.temp_c, some.ph, target, *some.made_of))
    theirs = acid_by_phreeqc(some, target)
    return Opinion(LIBRARY, "acid demand", "mmol/L", ours, theirs, 0.02, WHY, some.cases(to=target))


def acid_with_borate(seed: int, count: int) -> Opinion:
    """50 mg/L of boron, whose alkalinity is part of what was measured; 0.4 down."""
    some = waters(seed, count, (7.4, 9.0))
    some = Waters(some.temp_c, some.ph, some.calcium, np.minimum(some.alkalinity + 150, 600), some.tds)
    target = some.ph - 0.4
    ours = np.asarray(acid_demand_mmol_l(some.temp_c, some.ph, target, *some.made_of, boron_mg_l=BORON_MG_L))
    theirs = acid_by_phreeqc(some, target, BORON_MG_L)
    why = "ionic strength is taken before the borate is known"
    name = "acid demand with borate"
    return Opinion(LIBRARY, name, "", ours, theirs, 0.02, why, some.cases(to=target), relative=True)


def air(seed: int, count: int) -> Opinion:
    some = waters(seed, count, (7.0, 8.5))
    ours = np.asarray(ph_in_air(some.temp_c, *some.made_of))
    theirs = ask(some, '-LA("H+")', lambda i: "EQUILIBRIUM_PHASES\nCO2(g) -3.38 10\n")
    why = "the gas is taken as ideal"
    return Opinion(LIBRARY, "pH in equilibrium with air", "", ours, theirs, 0.01, why, some.cases())


def precipitation(seed: int, count: int) -> Opinion:
    some = waters(seed, count)
    ours = np.asarray(precipitation_potential_mg_l(some.temp_c, some.ph, *some.made_of))
    theirs = ask(some, '100086*(EQUI("Calcite")-10)', lambda i: "EQUILIBRIUM_PHASES\nCalcite 0 10\n")
    name = "precipitation potential"
    return Opinion(LIBRARY, name, "mg/L as CaCO3", ours, theirs * some.kg_per_litre, 1.0, WHY, some.cases())


def addition(seed: int, count: int, substance: Substance = "HCl") -> Opinion:
    """pH after up to 1 mmol/L, of a strong base 0.2; of acid a part of what reaches pH 6.8."""
    some = waters(seed, count, (7.2, 9.0))
    size = np.random.default_rng(seed + 1).uniform(0, 1, count)
    if substance == "HCl":
        size = size * acid_demand_mmol_l(some.temp_c, some.ph, np.full(count, 6.8), *some.made_of)
    if substance in ("Ca(OH)2", "Na2CO3"):
        size = 0.2 * size
    ours = np.asarray(ph_after(substance, size, some.temp_c, some.ph, *some.made_of))
    moles = size / 1000 / some.kg_per_litre
    theirs = ask(some, '-LA("H+")', lambda i: f"REACTION 1\n{substance} 1\n{moles[i]:.12f}\n")
    return Opinion(LIBRARY, f"pH after {substance}", "", ours, theirs, 0.02, WHY, some.cases(mmol_l=size))


def every_substance(seed: int, count: int) -> Opinion:
    """All substances that PHREEQC knows, an equal share of the waters each."""
    known = [substance for substance in SUBSTANCES if substance != "CYA"]
    some = [addition(seed + n, count // len(known), substance) for n, substance in enumerate(known)]  # type: ignore[arg-type]  # wider than the declared kind
    return Opinion(
        LIBRARY,
        f"pH after an addition of {', '.join(known)}",
        "",
        np.concatenate([o.ours for o in some]),
        np.concatenate([o.theirs for o in some]),
        0.02,
        WHY,
        [f"{o.quantity}: {case}" for o in some for case in o.cases],
    )
