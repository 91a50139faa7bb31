"""Sentences of the pure timeline in the language of the page.

Pure code knows no languages and says English with its figures in it. Here each of its sentences stands once, with
%(names)s where the figures are, so that the catalogue holds it; `spoken` finds which one a text is.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final

from django.utils.translation import get_language, gettext
from django.utils.translation import gettext_noop as _

SENTENCES: Final = (
    # jobs.forms.measures, whose call stands inside a string
    _("to"),
    # jobs.timeline.water_advice
    _("Repeat the test before adding anything."),
    _("Acid start-up: nothing is computed; the signed instruction of the finish's maker decides."),
    _("Add nothing yet: let the filter run %(hours)s h more, then test again."),
    _("The last addition needs %(hours)s h of circulation before a test counts."),
    _("Add nothing. Brush, keep the filter running and test again at the next visit."),
    _("Everything that may be changed on this day is within its goal."),
    _("Nothing is computed from pH %(ph)s with this alkalinity (index and acid need pH 6.8 to 10.5)."),
    _("Alkalinity is below %(goal)s mg/L: raise it first, pH follows."),
    _("Add nothing: aerate with the returns up, brush, and test again; fresh plaster lifts pH by itself."),
    _("Test pH and alkalinity again with fresh reagents; add nothing before they fit each other."),
    _("Add %(amount)s of %(chemical)s to water, run the filter %(hours)s h, test again."),
    _("Leave pH alone where you can: fresh plaster lifts it by itself."),
    _("No %(thing)s before day %(day)s."),
    _("hydrochloric acid (%(strength)s %%)"),
    # jobs.timeline.water_rules
    _("Alkalinity of %(now)s mg/L is below %(goal)s."),
    _("Alkalinity of %(now)s mg/L is above %(goal)s."),
    _("pH of %(now)s is above %(goal)s."),
    _("pH of %(now)s is below %(goal)s and the water is aggressive."),
    _("Calcium hardness of %(now)s mg/L is below %(goal)s."),
    _("Cyanuric acid of %(now)s mg/L is below %(goal)s."),
    # jobs.timeline.water_tests
    _("pH is %(now)s where the last test and the additions logged since lead to %(due)s; "
      "a change of up to %(most)s is believed. Test again with a new sample; two tests that agree are believed."),
    _("%(quantity)s is %(now)s where the last test and the additions logged since lead to %(due)s; "
      "a change of up to %(most)s is believed. Test again with a new sample; two tests that agree are believed."),
    _("%(quantity)s is %(now)s; allowed is %(low)s to %(high)s. Test again."),
    _("TDS of %(now)s mg/L is less than this calcium and alkalinity alone weigh: "
      "no salt is counted, look at the TDS reading again."),
    _("total alkalinity"),
    _("calcium hardness"),
    _("water temperature"),
    _("total dissolved solids"),
    # jobs.timeline.fill, jobs.selectors.water_level
    _("%(quantity)s is %(now)s; allowed is %(low)s to %(high)s."),
    _("water level below full"),
    _("a reading is %(hours)s h before the water began to run; correct one of the two."),
    _("two readings have the same time; keep one."),
    _("the level falls by %(percent)s %% of the pool between two readings; "
      "read it again, or look for open valves and leaks."),
    # jobs.services.water
    _("What the water reads after this cannot be computed; test it before anything else."),
    _("This takes pH from %(before)s to %(after)s; one addition should take off %(most)s at most. "
      "Brush, keep the filter running and test again."),
    _("One product at a time: the last addition needs %(hours)s h of circulation first."),
    # jobs.timeline.start_up
    _("The lime of fresh plaster would take this fill water above 10.5."),
    _("The lime of fresh plaster would take this fill water to about %(ph)s."),
    _("With alkalinity raised to %(goal)s mg/L it would be above 10.5."),
    _("With alkalinity raised to %(goal)s mg/L it would be %(ph)s."),
    _("Calcium carbonate comes out either way; what changes is pH and where it hardens."),
    _("Alkalinity of %(now)s mg/L holds pH well enough."),
    _("%(refusal)s Test the fill water again."),
    _("Fill without stopping to the middle of the tile; clean rag on the hose end at the deepest point; "
      "nobody in the pool, no pets."),
    _("Test the fill water: pH, alkalinity, calcium, metals."),
    _("Start the filter when full and let it run %(hours)s h without a break."),
    _("Filter runs without a break."),
    _("Brush the whole surface %(times)s times."),
    _("Brush where dust shows."),
    _("End of the start-up: hand over to the normal programme."),
    _("Test the water; follow the signed instruction of the finish's maker. Nothing is computed here."),
    _("Test the water; one addition at a time towards pH %(ph_low)s to %(ph_high)s and alkalinity %(low)s to "
      "%(high)s mg/L; test again after %(hours)s h."),
    _("Vacuum dust with a brush head without wheels."),
    # jobs.timeline.start_up_gates
    _("dust cleared"),
    _("the signed instruction of the finish's maker"),
    _("a water test of the last %(days)s days"),
    _("balanced water (the index cannot be computed from the last test)"),
    _("balanced water (index %(index)s, wanted %(low)s to %(high)s)"),
    _("pH %(low)s to %(high)s (now %(now)s)"),
    _("a reading of free chlorine (%(low)s to %(high)s mg/L)"),
    _("free chlorine %(low)s to %(high)s mg/L (now %(now)s)"),
    # names
    _("chlorine"),
    _("raising calcium"),
    _("calcium"),
    _("stabiliser"),
    _("heater"),
    _("wheeled cleaner"),
    _("salt"),
    _("swimming"),
    _("scaling"),
    _("balanced"),
    _("aggressive"),
    _("hydrochloric acid"),
    _("sodium bicarbonate"),
    _("sodium carbonate"),
    _("calcium chloride, anhydrous"),
    _("calcium chloride dihydrate"),
    _("cyanuric acid"),
    # jobs.timeline.start_up_cautions
    _("Acid: gloves and eye protection, pour acid into water and never water into acid, keep upwind; away from "
      "chlorine products, which it must never meet."),
    _("Calcium chloride goes into a bucket of water a little at a time, never water onto it: it gets hot. Gloves and "
      "eye protection."),
    _("Sodium carbonate is caustic: gloves and eye protection; dissolve it in a bucket of water first."),
    _("Dissolve it in a bucket of water first; eye protection. One product at a time, never mixed."),
    _("Chlorine products never meet acid or each other, not in a bucket, a feeder or on a shelf."),
    _("Keep cyanuric acid off the fresh surface; it dissolves slowly, in a sock in front of a return."),
    _("Every filling hose: a backflow preventer or an air gap."),
    _("An unfenced or filling pool needs a barrier overnight; never leave a part-filled pool unsecured."),
    _("Before the fill: the hydrostatic relief valve is closed or refitted, drain covers are checked."),
    _("Pumps and vacuums on a GFCI."),
    _("Contested: it etches plaster and fumes in the basin. Never recommended here; nothing is computed below pH 6.8. "
      "It needs a name, a date and a signature, and the finish's maker to ask for it in writing."),
    # jobs.condition.cautions
    _("Old coating: wear gloves, no dry sanding, and do not crumble it by hand before it has been tested "
      "for lead or asbestos."),
    _("Empty pool: falls and rising groundwater. Ladder, second person, a barrier at the edge; whether it "
      "may be emptied is decided by the groundwater level and a licensed opinion, not here."),
    _("Silica dust: water at the point of impact or a shroud with dust collector, and a respirator where the "
      "local rule asks for one (29 CFR 1926.1153, Table 1)."),
    _("Laminate: respirator and containment for glass dust; no dry grinding without extraction."),
    _("Test the coating for lead and asbestos before any of it is disturbed; certified removal where the test "
      "or the local rule asks for it (40 CFR 745, 40 CFR 61 subpart M; from memory)."),
    _("Wet cement burns: gloves, boots, eye protection; wash off at once."),
    _("An empty pool needs a barrier day and night."),
    _("Pumps and wet tools on a GFCI; pool equipment locked out before draining."),
)  # fmt: skip
_PLACE: Final = re.compile(r"%\((\w+)\)s")
NUMBER: Final = re.compile(r"[-+\N{MINUS SIGN}]?[\d.,:/ ]+%?")


def spoken(text: str) -> str:
    """The text in the language of the page; English where the catalogue does not know it."""
    if not text or (get_language() or "en").startswith("en"):
        return text
    if text in _plain():
        return gettext(text)
    for pattern, sentence in _patterns():
        found = pattern.fullmatch(text)
        if found:
            return gettext(sentence) % {name: _part(value) for name, value in found.groupdict().items()}
    return text


def _part(value: str) -> str:
    return value if NUMBER.fullmatch(value) else spoken(value)


@lru_cache(maxsize=1)
def _plain() -> frozenset[str]:
    return frozenset(sentence for sentence in SENTENCES if not _PLACE.search(sentence))


@lru_cache(maxsize=1)
def _patterns() -> tuple[tuple[re.Pattern[str], str], ...]:
    return tuple((re.compile(_as_pattern(sentence)), sentence) for sentence in SENTENCES if _PLACE.search(sentence))


def _as_pattern(sentence: str) -> str:
    parts = _PLACE.split(sentence)  # text, name, text, name, ... text
    return "".join(
        f"(?P<{part}>.+?)" if odd % 2 else re.escape(part.replace("%%", "%")) for odd, part in enumerate(parts)
    )
