"""Cautions of the survey and the scope, said where they apply; local codes and licensed practice decide."""

from __future__ import annotations

from typing import Final

OLD_COATING: Final = (
    "Old coating: wear gloves, no dry sanding, and do not crumble it by hand before it has been tested "
    "for lead or asbestos."
)
SOLVENT_RUB: Final = (
    "Solvent: a trained person, ventilated, no flame or spark, gloves, and never alone in the deep end."
)
ACID_DROP: Final = (
    "Acid: eye protection and gloves, acid into water and never the reverse, nowhere near chlorine products; rinse."
)
EMPTY_POOL: Final = (
    "Empty pool: falls and rising groundwater. Ladder, second person, a barrier at the edge; whether it "
    "may be emptied is decided by the groundwater level and a licensed opinion, not here."
)
PILOT_HOLE: Final = (
    "Pilot hole: ask the pool owner first. Drill wet or with dust extraction (silica), tools on a GFCI; "
    "stop at the shell."
)
SILICA: Final = (
    "Silica dust: water at the point of impact or a shroud with dust collector, and a respirator where the "
    "local rule asks for one (29 CFR 1926.1153, Table 1)."
)
BLASTING: Final = "Blasting or high-pressure water: respirator, containment, nobody else in the basin."
LAMINATE: Final = "Laminate: respirator and containment for glass dust; no dry grinding without extraction."
LEAD_ASBESTOS: Final = (
    "Test the coating for lead and asbestos before any of it is disturbed; certified removal where the test "
    "or the local rule asks for it (40 CFR 745, 40 CFR 61 subpart M; from memory)."
)
WET_CEMENT: Final = "Wet cement burns: gloves, boots, eye protection; wash off at once."
BARRIER: Final = "An empty pool needs a barrier day and night."
GFCI: Final = "Pumps and wet tools on a GFCI; pool equipment locked out before draining."
STRUCTURE: Final = "Nothing here says that a structure is sound: that is a licensed engineer's opinion."
