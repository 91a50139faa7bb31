"""How much to add to pool water, and what an addition does: stoichiometry, both unit sets, before and after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from jobs.physics import constants as c
from jobs.physics.validity import FloatArray, in_range, plain, same_shape
from jobs.physics.water import SUBSTANCES, Substance, ph_after, saturation_index

Chemical = Literal["HCl", "NaHCO3", "Na2CO3", "CaCl2", "CaCl2_2H2O", "CYA", "NaCl"]

VOLUME_M3: Final = (0.001, 20_000.0)
CHANGE_MG_L: Final = (0.0, 1000.0)
SALT_CHANGE_MG_L: Final = (0.0, 10_000.0)

# Equivalents of CaCO3 (50.04 g) in one mole: of alkalinity, or of calcium hardness; 0 where mg/L is its own mass
EQUIVALENTS: Final[Mapping[str, int]] = {
    "HCl": 1, "NaHCO3": 1, "Na2CO3": 2, "CaCl2": 2, "CaCl2_2H2O": 2, "CYA": 0, "NaCl": 0,
}  # fmt: skip
NAMES: Final[Mapping[str, str]] = {
    "HCl": "hydrochloric acid",
    "NaHCO3": "sodium bicarbonate",
    "Na2CO3": "sodium carbonate",
    "CaCl2": "calcium chloride, anhydrous",
    "CaCl2_2H2O": "calcium chloride dihydrate",
    "CYA": "cyanuric acid",
    "NaCl": "salt",
}
_DISSOLVES_AS: Final[Mapping[str, Substance]] = {
    "HCl": "HCl", "NaHCO3": "NaHCO3", "Na2CO3": "Na2CO3", "CaCl2": "CaCl2", "CaCl2_2H2O": "CaCl2",
    "CYA": "CYA", "NaCl": "NaCl",
}  # fmt: skip


def addition_kg(
    substance: Chemical, volume_m3: ArrayLike, change_mg_l: ArrayLike, purity: float = 1.0
) -> float | FloatArray:
    """Mass of a chemical for a change of the water [kg].

    m = V change k / purity; k from molar masses [IUPAC], for instance 1.679 g of NaHCO3 per m3 and mg/L.

    Parameters
    ----------
    substance : "NaHCO3", "Na2CO3" (raise alkalinity), "HCl" (lowers it), "CaCl2", "CaCl2_2H2O" (raise calcium
        hardness), "CYA" (cyanuric acid), "NaCl"
    volume_m3 : [m3], 0.001 to 20000, any shape
    change_mg_l : size of the change [mg/L as CaCO3; for CYA and NaCl mg/L of itself], 0 to 1000, NaCl to 10000
    purity : mass of the substance in a mass of the product, above 0, to 1

    Raises
    ------
    ValueError
        For another substance, a value outside its range, or arrays of different shapes.
    """
    name = _known(substance)
    same_shape(volume_m3=volume_m3, change_mg_l=change_mg_l)
    volume = in_range("volume of the pool", volume_m3, *VOLUME_M3, "m3")
    change = in_range("change", change_mg_l, *(SALT_CHANGE_MG_L if name == "NaCl" else CHANGE_MG_L), "mg/L")
    share = in_range("purity", purity, 0, 1, "", low_open=True)
    return plain(np.asarray(volume * change * _kg_per_m3_mg_l(name) / share))


def _known(substance: str) -> str:
    name = substance.replace(".", "_").replace("·", "_")
    if name not in EQUIVALENTS:
        raise ValueError(f"substance is '{substance}'; allowed is one of {', '.join(EQUIVALENTS)}.")
    return name


def _kg_per_m3_mg_l(name: str) -> float:
    equivalents = EQUIVALENTS[name]
    return (c.MOLAR_G[name] / (equivalents * c.CACO3_EQUIVALENT_MG) if equivalents else 1.0) / 1000


def hydrochloric_acid_l(
    volume_m3: ArrayLike,
    change_mg_l: ArrayLike,
    mass_fraction: float = c.ACID_MASS_FRACTION,
    relative_density: float | None = None,
) -> float | FloatArray:
    """Hydrochloric acid that lowers total alkalinity [L]; 25.6 US fl oz for 10,000 gal and 10 mg/L at 31.45 %.

    Parameters
    ----------
    volume_m3 : [m3], 0.001 to 20000, any shape
    change_mg_l : fall of total alkalinity [mg/L as CaCO3], 0 to 1000
    mass_fraction : HCl in the acid, 0.01 to 0.38
    relative_density : of the acid, 1 to 1.25; None for the handbook value at this strength [from memory]

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    same_shape(volume_m3=volume_m3, change_mg_l=change_mg_l)
    volume = in_range("volume of the pool", volume_m3, *VOLUME_M3, "m3")
    change = in_range("change of total alkalinity", change_mg_l, *CHANGE_MG_L, "mg/L as CaCO3")
    return plain(np.asarray(volume * change / c.CACO3_EQUIVALENT_MG / acid_mol_l(mass_fraction, relative_density)))


def acid_mol_l(mass_fraction: float = c.ACID_MASS_FRACTION, relative_density: float | None = None) -> float:
    """Concentration of hydrochloric acid [mol/L]: 1000 w d / 36.458; arguments as `hydrochloric_acid_l`."""
    share = float(in_range("mass fraction of the acid", mass_fraction, 0.01, 0.38, ""))
    if relative_density is None:
        strengths, densities = np.array(c.ACID_DENSITY).T
        density = float(np.interp(share, strengths, densities))
    else:
        density = float(in_range("relative density of the acid", relative_density, 1, 1.25, ""))
    return 1000 * share * density / c.MOLAR_G["HCl"]


def alkalinity_lowered_mg_l(
    volume_m3: ArrayLike,
    acid_l: ArrayLike,
    mass_fraction: float = c.ACID_MASS_FRACTION,
    relative_density: float | None = None,
) -> float | FloatArray:
    """Fall of total alkalinity by an amount of hydrochloric acid [mg/L as CaCO3].

    Parameters
    ----------
    acid_l : [L], 0 to 100000; others as `hydrochloric_acid_l`

    Raises
    ------
    ValueError
        For a value outside its range or arrays of different shapes.
    """
    same_shape(volume_m3=volume_m3, acid_l=acid_l)
    volume = in_range("volume of the pool", volume_m3, *VOLUME_M3, "m3")
    litres = in_range("acid", acid_l, 0, 100_000, "L")
    equivalents = litres * acid_mol_l(mass_fraction, relative_density)
    return plain(np.asarray(equivalents * c.CACO3_EQUIVALENT_MG / volume))


def relative_density_of_baume(degrees: float) -> float:
    """Relative density of a liquid heavier than water: 145/(145 - degrees), US, 60 degF; degrees 0 to 70."""
    return c.BAUME / (c.BAUME - float(in_range("degrees Baume", degrees, 0, 70, "")))


@dataclass(frozen=True)
class Amount:
    """An amount in SI, said in both unit sets; litres for a liquid, else kilograms."""

    value: float
    unit: Literal["kg", "L"]

    @property
    def metric(self) -> str:
        """ "350 g", "1.2 kg", "450 mL", "1.2 L"."""
        small = {"kg": "g", "L": "mL"}[self.unit]
        return f"{_figure(self.value * 1000)} {small}" if self.value < 1 else f"{_figure(self.value)} {self.unit}"

    @property
    def us(self) -> str:
        """ "12 oz", "2.6 lb", "15 fl oz", "1.3 gal"."""
        if self.unit == "kg":
            pounds = self.value / c.POUND_KG
            return f"{_figure(pounds * 16)} oz" if pounds < 1 else f"{_figure(pounds)} lb"
        gallons = self.value / (c.US_GALLON_M3 * 1000)
        return f"{_figure(gallons * 128)} fl oz" if gallons < 1 else f"{_figure(gallons)} gal"

    @property
    def words(self) -> str:
        """Both: "1.2 L (41 fl oz)"."""
        return f"{self.metric} ({self.us})"


def _figure(value: float) -> str:
    """Two figures, as many as a measuring jug can tell; whole numbers from 100."""
    if value >= 100:
        return f"{round(value, -1):.0f}"
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


@dataclass(frozen=True)
class PoolWater:
    """A water as a test kit reads it: [degC], [-], [mg/L as CaCO3] twice, [mg/L] twice; ranges of `water`."""

    temp_c: float
    ph: float
    calcium_hardness_mg_l: float
    total_alkalinity_mg_l: float
    tds_mg_l: float
    cyanuric_acid_mg_l: float = 0.0

    @property
    def saturation_index(self) -> float:
        """Solved index [-]; refuses as `jobs.physics.water.saturation_index`."""
        return float(
            saturation_index(
                self.temp_c,
                self.ph,
                self.calcium_hardness_mg_l,
                self.total_alkalinity_mg_l,
                self.tds_mg_l,
                self.cyanuric_acid_mg_l,
            )
        )


@dataclass(frozen=True)
class Prediction:
    """A water before and after an addition, mixed and dissolved, before any carbon dioxide escapes."""

    chemical: str
    amount: Amount
    before: PoolWater
    after: PoolWater

    @property
    def index_change(self) -> float:
        """Saturation index after less before [-]."""
        return self.after.saturation_index - self.before.saturation_index


def predict_addition(
    chemical: Chemical,
    amount: float,
    volume_m3: float,
    water: PoolWater,
    *,
    purity: float = 1.0,
    acid_mass_fraction: float = c.ACID_MASS_FRACTION,
) -> Prediction:
    """What an addition does to pH, alkalinity, calcium, TDS and index.

    Parameters
    ----------
    chemical : a name of `addition_kg`
    amount : [kg] of product, for hydrochloric acid [L]; 0 to 2000
    volume_m3 : [m3], 0.001 to 20000
    water : the tested water
    purity, acid_mass_fraction : as `addition_kg` and `hydrochloric_acid_l`

    Raises
    ------
    ValueError
        As `jobs.physics.water.ph_after`: among others when the pH after it would lie outside 6.8 to 10.5.
    """
    name = _known(chemical)
    litres_or_kg = float(in_range("amount to add", amount, 0, 2000, "L" if name == "HCl" else "kg"))
    volume = float(in_range("volume of the pool", volume_m3, *VOLUME_M3, "m3"))
    share = float(in_range("purity", purity, 0, 1, "", low_open=True))
    if name == "HCl":
        mmol_l = litres_or_kg * acid_mol_l(acid_mass_fraction) / volume
    else:
        mmol_l = litres_or_kg * share * 1000 / c.MOLAR_G[name] / volume
    substance = _DISSOLVES_AS[name]
    after = replace(_mixed(water, substance, mmol_l), ph=_ph(water, substance, mmol_l))
    return Prediction(name, Amount(litres_or_kg, "L" if name == "HCl" else "kg"), water, after)


def _ph(water: PoolWater, substance: Substance, mmol_l: float) -> float:
    return float(
        ph_after(
            substance,
            mmol_l,
            water.temp_c,
            water.ph,
            water.calcium_hardness_mg_l,
            water.total_alkalinity_mg_l,
            water.tds_mg_l,
            water.cyanuric_acid_mg_l,
        )
    )


def _mixed(water: PoolWater, substance: Substance, mmol_l: float) -> PoolWater:
    """What the kit would read after mixing, pH aside."""
    calcium, _, _, alkalinity, cyanuric = SUBSTANCES[substance]
    return replace(
        water,
        calcium_hardness_mg_l=water.calcium_hardness_mg_l + calcium * mmol_l * c.MOLAR_G["CaCO3"],
        total_alkalinity_mg_l=water.total_alkalinity_mg_l + alkalinity * mmol_l * c.CACO3_EQUIVALENT_MG,
        tds_mg_l=water.tds_mg_l + mmol_l * c.MOLAR_G[substance],
        cyanuric_acid_mg_l=water.cyanuric_acid_mg_l + cyanuric * mmol_l * c.MOLAR_G["CYA"],
    )
