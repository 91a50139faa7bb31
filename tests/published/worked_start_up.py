"""Write START_UP.md from a run: 28 days of a pool filled from a cold spring, its water kept by PHREEQC.

``python -m tests.published.worked_start_up`` replaces the page. The pool is not ours: PHREEQC 3 (USGS, phreeqc.dat)
holds its water, takes up the lime of fresh plaster and the air's carbon dioxide, warms it and stirs in each addition.
The program sees only what a kit reads of it (pH to 0.1, alkalinity and calcium to 1 mg/L) and says what to add;
beside each of its numbers stands PHREEQC's for the same water.
"""

from __future__ import annotations

import datetime as dt
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from phreeqpython import PhreeqPython

from jobs.physics.additions import Amount, acid_mol_l
from jobs.physics.constants import CACO3_EQUIVALENT_MG, MOLAR_G
from jobs.physics.water import saturation_index_field
from jobs.timeline.start_up import advise_method, attendances
from jobs.timeline.start_up_settings import LAST_DAY, StartUpSettings
from jobs.timeline.water_advice import Advice, what_next
from jobs.timeline.water_tests import LoggedAddition, WaterTest

PAGE: Final = Path(__file__).parent / "START_UP.md"
VOLUME_M3: Final = 45.0
FILLED: Final = dt.datetime(2026, 4, 20, 8, 0, tzinfo=dt.UTC)
SPRING: Final = {"temp": 9.0, "ph": 7.1, "calcium": 60.0, "alkalinity": 55.0, "tds": 160.0}  # invented, a soft spring
WARM_C: Final = 18.0  # towards which the water warms, a third of what is left each week
LIME_MG_L: Final = 50.0  # alkalinity that the plaster gives off in all, half of it in four days [CP]
LIME_HALF_D: Final = 4.0
AIR_LOG10_ATM: Final = -3.38  # carbon dioxide of the air
AIR_SHARE_A_DAY: Final = 0.12  # of the way to the air's carbon dioxide, by surface and filter [CP]
TESTS_A_VISIT: Final = 6  # test, add, run the filter, test again: so often on one visit at most
NEW_SAMPLE: Final = dt.timedelta(minutes=15)  # until a doubted test is repeated
SETTINGS: Final = StartUpSettings(
    days={**StartUpSettings().days, "stabiliser": LAST_DAY + 1}  # PHREEQC's database knows no cyanuric acid
)

ACCURACY: Final = {"index": 0.02, "ph": 0.02}
"""Largest difference from PHREEQC that the page may show, of the same water and of the same addition."""


class Basin:
    """A pool whose water PHREEQC keeps, 1 kg standing for all of it."""

    def __init__(self) -> None:
        self.engine = PhreeqPython(database="phreeqc.dat")
        calcium, alkalinity = SPRING["calcium"] / 100.0869, SPRING["alkalinity"] / 50.04345
        salt = max(0.0, (SPRING["tds"] - calcium * 110.984 - alkalinity * 84.0066) / 58.4428)
        self.tds = SPRING["tds"]
        self.water = self.engine.add_solution(
            {
                "temp": SPRING["temp"],
                "pH": SPRING["ph"],
                "units": "mmol/kgw",
                "Ca": calcium,
                "Alkalinity": f"{alkalinity} meq/kgw",
                "Na": alkalinity + salt,
                "Cl": f"{2 * calcium + salt} charge",
            }
        )

    def live(self, days: float, since_fill_d: float) -> None:
        """Lime from the plaster, carbon dioxide from the air, warmth."""
        lime = LIME_MG_L * (_lime_share(since_fill_d + days) - _lime_share(since_fill_d))
        if lime > 0:
            self.water.add("Ca(OH)2", lime / (2 * CACO3_EQUIVALENT_MG), "mmol")
            self.tds += lime / (2 * CACO3_EQUIVALENT_MG) * MOLAR_G["Ca(OH)2"]
        open_air = self.water.copy()
        open_air.equalize(["CO2(g)"], [AIR_LOG10_ATM])
        change = (open_air.total_element("C", "mmol") - self.water.total_element("C", "mmol")) * (
            1 - (1 - AIR_SHARE_A_DAY) ** days
        )
        self.water.add("CO2", change, "mmol")
        target = WARM_C - (WARM_C - SPRING["temp"]) * (2 / 3) ** ((since_fill_d + days) / 7)
        self.water.change_temperature(target)

    def add(self, chemical: str, mmol_l: float) -> None:
        self.water.add(chemical, mmol_l, "mmol")
        self.tds += mmol_l * MOLAR_G[chemical]

    def read(self, at: dt.datetime) -> WaterTest:
        """What a kit reads."""
        return WaterTest(
            at,
            round(float(self.water.temperature), 1),
            round(float(self.water.pH), 1),
            round(self.calcium),
            round(self.alkalinity),
            float(round(self.tds)),
        )

    @property
    def calcium(self) -> float:
        return float(self.water.total_element("Ca", "mmol")) * MOLAR_G["CaCO3"]

    @property
    def alkalinity(self) -> float:
        """Of the strong ions: sodium and calcium less chloride, which is all there is beside carbonate [mg/L CaCO3]."""
        sodium, calcium, chloride = (float(self.water.total_element(name, "mmol")) for name in ("Na", "Ca", "Cl"))
        return (sodium + 2 * calcium - chloride) * CACO3_EQUIVALENT_MG


def _lime_share(day: float) -> float:
    return float(1.0 - 0.5 ** (max(0.0, day) / LIME_HALF_D))


@dataclass(frozen=True)
class Line:
    """One test with what was advised, and the same by PHREEQC.

    index, field, index_phreeqc : of the water as it was read
    after, after_phreeqc : pH after the addition, by the program and by PHREEQC of the same readings
    then : pH that the basin had after it and circulation, None without an addition
    """

    day: int
    test: WaterTest
    advice: Advice
    index: float
    field: float
    index_phreeqc: float
    after: float | None = None
    after_phreeqc: float | None = None
    then: float | None = None


def of_readings(test: WaterTest, chemical: str = "", mmol_l: float = 0.0) -> tuple[float, float]:
    """(index, pH) that PHREEQC finds of a water as it was read, after an addition where one is given."""
    engine = PhreeqPython(database="phreeqc.dat")
    calcium, alkalinity = test.calcium_hardness_mg_l / 100.0869, test.total_alkalinity_mg_l / 50.04345
    salt = max(0.0, (test.tds_mg_l - calcium * 110.984 - alkalinity * 84.0066) / 58.4428)
    water = engine.add_solution(
        {
            "temp": test.temp_c,
            "pH": test.ph,
            "units": "mmol/L",
            "density": 1.0,
            "Ca": calcium,
            "Alkalinity": f"{alkalinity} meq/L",
            "Na": alkalinity + salt,
            "Cl": f"{2 * calcium + salt} charge",
        }
    )
    if chemical:
        water.add(chemical, mmol_l, "mmol")
    return float(water.si("Calcite")), float(water.pH)


def mmol_l_of(advice: Advice) -> tuple[str, float]:
    """What an addition is to PHREEQC: substance and millimoles in a litre of the pool."""
    assert advice.amount is not None and advice.chemical is not None
    if advice.chemical == "HCl":
        return "HCl", advice.amount.value * acid_mol_l(SETTINGS.acid_mass_fraction) / VOLUME_M3
    name = "CaCl2" if advice.chemical.startswith("CaCl2") else advice.chemical
    return name, advice.amount.value * 1000 / MOLAR_G[advice.chemical] / VOLUME_M3


def run() -> tuple[WaterTest, str, list[Line]]:
    """The fill water, the method it speaks for, and every test of 28 days."""
    basin = Basin()
    tap = basin.read(FILLED - dt.timedelta(hours=20))
    method = advise_method(tap.water, SETTINGS).recommended or "traditional"
    lines: list[Line] = []
    additions: list[LoggedAddition] = []
    now = FILLED
    previous: WaterTest | None = None
    doubted: WaterTest | None = None
    for day in attendances(SETTINGS):
        visit = FILLED + dt.timedelta(days=day, hours=2)
        basin.live((visit - now) / dt.timedelta(days=1), (now - FILLED) / dt.timedelta(days=1))
        now = visit
        for _again in range(TESTS_A_VISIT):
            test = basin.read(now)
            advice = what_next(
                test, day=day, method=method, volume_m3=VOLUME_M3, previous=previous, additions=additions,
                settings=SETTINGS, doubted=doubted,
            )  # fmt: skip
            line = _line(day, test, advice)
            if advice.action == "repeat":
                lines.append(line)
                doubted, now = test, now + NEW_SAMPLE
                continue
            previous, doubted = test, None
            if advice.action != "add":
                lines.append(line)
                break
            chemical, mmol_l = mmol_l_of(advice)
            assert advice.amount is not None and advice.chemical is not None
            additions.append(LoggedAddition(now, advice.chemical, advice.amount.value))
            basin.add(chemical, mmol_l)
            later = now + dt.timedelta(hours=SETTINGS.retest_h)
            basin.live(SETTINGS.retest_h / 24, (now - FILLED) / dt.timedelta(days=1))
            now = later
            lines.append(_with_addition(line, basin, chemical, mmol_l))
    return tap, method, lines


def _line(day: int, test: WaterTest, advice: Advice) -> Line:
    water = test.water
    field = saturation_index_field(
        water.temp_c, water.ph, water.calcium_hardness_mg_l, water.total_alkalinity_mg_l, water.tds_mg_l
    )
    return Line(day, test, advice, float(water.saturation_index), float(field), of_readings(test)[0])


def _with_addition(line: Line, basin: Basin, chemical: str, mmol_l: float) -> Line:
    predicted = line.advice.prediction
    return Line(
        line.day, line.test, line.advice, line.index, line.field, line.index_phreeqc,
        None if predicted is None else predicted.after.ph,
        of_readings(line.test, chemical, mmol_l)[1],
        float(basin.water.pH),
    )  # fmt: skip


def page() -> str:
    """The page in Markdown."""
    tap, method, lines = run()
    added = [line for line in lines if line.after is not None]
    worst_index = max(abs(line.index - line.index_phreeqc) for line in lines)
    worst_ph = max(abs(line.after - line.after_phreeqc) for line in added)  # type: ignore[operator]  # of rows with mixed kinds
    out = [
        "# A start-up of 28 days, worked beside PHREEQC",
        "",
        "Made by `python -m tests.published.worked_start_up`; a test makes it again and compares.",
        "",
        f"A pool of {VOLUME_M3:g} m³ ({VOLUME_M3 * 264.172:,.0f} gal) is filled from a cold, soft spring (invented). "
        "Its water is kept by PHREEQC 3 with its phreeqc.dat (USGS): fresh plaster gives off lime worth "
        f"{LIME_MG_L:g} mg/L of alkalinity, half of it in {LIME_HALF_D:g} days; the air brings the carbon dioxide "
        f"{100 * AIR_SHARE_A_DAY:g} % of its way a day; the water warms from {SPRING['temp']:g} towards {WARM_C:g} °C "
        "(all three common practice, no source). Nothing is allowed to precipitate, and no stabiliser is "
        "added in this month (PHREEQC's database knows no cyanuric acid). The program sees what a kit "
        "reads, rounded as a kit rounds, and advises as on the phone; each addition goes into PHREEQC's pool as it "
        "was advised, and the test after it is of what PHREEQC made of it.",
        "",
        f"Fill water: {_water(tap)}. Method it speaks for: {method.replace('_', ' ')}. Days someone comes: "
        f"{', '.join(str(day) for day in attendances(SETTINGS))}.",
        "",
        f"{len(lines)} tests, {len(added)} additions. Largest difference of the index from PHREEQC's of the same "
        f"readings {worst_index:.3f} (allowed {ACCURACY['index']}); of the pH after an addition {worst_ph:.3f} "
        f"(allowed {ACCURACY['ph']}). *Then* is the pH of PHREEQC's pool after {SETTINGS.retest_h:g} h: lime and air "
        "went on meanwhile, and the readings before were rounded.",
        "",
        "| day | °C | pH | alkalinity | calcium | index | field table | PHREEQC | what the program says | "
        "pH after | PHREEQC | then |",
        "|---:|---:|---:|---:|---:|---:|---:|---:|---|---:|---:|---:|",
        *(_row(line) for line in lines),
        "",
        "The field table is the form with rounded factors that crews carry; it leaves out what PHREEQC and the default "
        "index count (activity of the ions), and is shown for comparison only. Amounts are said in both unit sets. "
        "One addition takes at most "
        f"{SETTINGS.acid_ph_step:g} off the pH; the next test waits {SETTINGS.retest_h:g} h.",
    ]
    return "\n".join(out) + "\n"


def _water(test: WaterTest) -> str:
    return (
        f"{test.temp_c:.1f} °C, pH {test.ph:.1f}, alkalinity {test.total_alkalinity_mg_l:.0f} and calcium "
        f"{test.calcium_hardness_mg_l:.0f} mg/L as CaCO3, TDS {test.tds_mg_l:.0f} mg/L"
    )


def _row(line: Line) -> str:
    test = line.test
    if line.advice.action == "add":
        assert line.advice.amount is not None and line.advice.chemical is not None
        said = f"{Amount(line.advice.amount.value, line.advice.amount.unit).words} of {_name(line.advice.chemical)}"
    else:
        said = {"leave": "add nothing", "repeat": "repeat the test with a new sample", "wait": "wait"}.get(
            line.advice.action, ""
        )
    ends = ["", "", ""]
    if line.after is not None and line.after_phreeqc is not None and line.then is not None:
        ends = [f"{line.after:.2f}", f"{line.after_phreeqc:.2f}", f"{line.then:.2f}"]
    return (
        f"| {line.day} | {test.temp_c:.1f} | {test.ph:.1f} | {test.total_alkalinity_mg_l:.0f} | "
        f"{test.calcium_hardness_mg_l:.0f} | {line.index:+.2f} | {line.field:+.2f} | {line.index_phreeqc:+.2f} | "
        f"{said} | {' | '.join(ends)} |"
    )


def _name(chemical: str) -> str:
    return {
        "HCl": "acid",
        "NaHCO3": "sodium bicarbonate",
        "Na2CO3": "sodium carbonate",
        "CaCl2_2H2O": "calcium chloride dihydrate",
    }.get(chemical, chemical)


def main() -> int:
    PAGE.write_text(page(), encoding="utf-8")
    print(f"wrote {PAGE.name}: {LAST_DAY} days")
    return 0


if __name__ == "__main__":
    sys.exit(main())
