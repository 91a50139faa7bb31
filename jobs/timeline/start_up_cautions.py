"""Cautions of filling and of the first 28 days, said at their step; local codes and the product's label decide."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

ACID: Final = (
    "Acid: gloves and eye protection, pour acid into water and never water into acid, keep upwind; away from "
    "chlorine products, which it must never meet."
)
CALCIUM: Final = (
    "Calcium chloride goes into a bucket of water a little at a time, never water onto it: it gets hot. Gloves and "
    "eye protection."
)
CARBONATE: Final = "Sodium carbonate is caustic: gloves and eye protection; dissolve it in a bucket of water first."
POWDER: Final = "Dissolve it in a bucket of water first; eye protection. One product at a time, never mixed."
CHLORINE: Final = "Chlorine products never meet acid or each other, not in a bucket, a feeder or on a shelf."
STABILISER: Final = "Keep cyanuric acid off the fresh surface; it dissolves slowly, in a sock in front of a return."
HOSE: Final = "Every filling hose: a backflow preventer or an air gap."
BARRIER: Final = "An unfenced or filling pool needs a barrier overnight; never leave a part-filled pool unsecured."
DRAIN_COVERS: Final = "Before the fill: the hydrostatic relief valve is closed or refitted, drain covers are checked."
ELECTRICITY: Final = "Pumps and vacuums on a GFCI."
ACID_METHOD: Final = (
    "Contested: it etches plaster and fumes in the basin. Never recommended here; nothing is computed below pH 6.8. "
    "It needs a name, a date and a signature, and the finish's maker to ask for it in writing."
)

OF_CHEMICAL: Final[Mapping[str, tuple[str, ...]]] = {
    "HCl": (ACID, CHLORINE),
    "CaCl2": (CALCIUM,),
    "CaCl2_2H2O": (CALCIUM,),
    "Na2CO3": (CARBONATE,),
    "NaHCO3": (POWDER,),
    "CYA": (STABILISER, POWDER),
    "NaCl": (POWDER,),
}
"""Cautions of each chemical."""
