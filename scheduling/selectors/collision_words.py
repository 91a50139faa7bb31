"""Why a job has no place, in words: the facts that cannot all hold."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from scheduling.words import listed

NO_DATES: Final = "its expected dates are not computed yet"
TOO_FAR: Final = "its site is more than 400 km from every crew of its branch: check the position"
FACTS: Final[Mapping[str, Any]] = {
    "plaster_days": gettext_lazy("the days on which the weather allows plaster"),
    "bond_days": gettext_lazy("the days on which the weather allows a bond coat"),
    "fill_days": gettext_lazy("the days on which a fill may start"),
    "prep_days": gettext_lazy("the hours in which the weather stops chipping"),
    "cure": gettext_lazy("the time that each coat cures"),
    "recoat": gettext_lazy("the greatest age of the bond coat"),
    "fill_latest": gettext_lazy("the latest fill after the plaster day"),
    "attendant": gettext_lazy("that somebody is there when the pool is full"),
    "startup": gettext_lazy("the days of the start-up visits"),
    "shift_water": gettext_lazy("hours and days off of the water crews"),
    "shift_prep": gettext_lazy("hours and days off of the prep crews"),
    "shift_plaster": gettext_lazy("hours and days off of the plaster crews"),
    "busy_water": gettext_lazy("what the water crews do elsewhere"),
    "busy_prep": gettext_lazy("what the prep crews do elsewhere"),
    "busy_plaster": gettext_lazy("what the plaster crews do elsewhere"),
    "people": gettext_lazy("the people that a plaster day asks for"),
    "quiet": gettext_lazy("quiet hours at the site"),
    "pumps": gettext_lazy("the number of pumps"),
    "rigs": gettext_lazy("the number of mixing rigs"),
    "earliest": gettext_lazy("the date before which it may not begin"),
    "kept": gettext_lazy("the days that are kept"),
}
# Sets that are met often, as one would say them.
SAID: Final[Mapping[frozenset[str], Any]] = {
    frozenset({"plaster_days"}): gettext_lazy("there is no day on which the weather allows plaster"),
    frozenset({"bond_days"}): gettext_lazy("there is no day on which the weather allows a bond coat"),
    frozenset({"fill_days"}): gettext_lazy("there is no day on which a fill may start"),
    frozenset({"people"}): gettext_lazy("no plaster crew has the people that its plaster day asks for"),
    frozenset({"pumps"}): gettext_lazy("the firm has no pump free for it"),
    frozenset({"rigs"}): gettext_lazy("the firm has no mixing rig free for it"),
    frozenset({"earliest"}): gettext_lazy("it may begin too late to be done in the weeks that are planned"),
    frozenset({"shift_water"}): gettext_lazy("no water crew works long enough for it"),
    frozenset({"shift_prep"}): gettext_lazy("no prep crew works long enough for it"),
    frozenset({"shift_plaster"}): gettext_lazy("no plaster crew works long enough for it"),
    frozenset({"plaster_days", "shift_plaster"}): gettext_lazy(
        "no plaster crew works on any day on which the weather allows plaster"
    ),
    frozenset({"plaster_days", "shift_plaster", "busy_plaster"}): gettext_lazy(
        "every plaster crew is elsewhere on the days on which the weather allows plaster"
    ),
    frozenset({"bond_days", "shift_prep"}): gettext_lazy("no prep crew works when the weather allows a bond coat"),
    frozenset({"bond_days", "shift_prep", "busy_prep"}): gettext_lazy(
        "every prep crew is elsewhere when the weather allows a bond coat"
    ),
    frozenset({"shift_plaster", "busy_plaster"}): gettext_lazy("every plaster crew is elsewhere"),
    frozenset({"shift_prep", "busy_prep"}): gettext_lazy("every prep crew is elsewhere"),
    frozenset({"shift_water", "busy_water"}): gettext_lazy("every water crew is elsewhere"),
    frozenset({"attendant", "shift_water"}): gettext_lazy(
        "no water crew works at the hour at which it would be full: two hoses or an evening watch would help"
    ),
    frozenset({"startup", "shift_water"}): gettext_lazy(
        "no water crew works on the days of its start-up visits: a Sunday duty would help"
    ),
    frozenset({"weeks"}): gettext_lazy("it takes longer than the weeks that are planned"),
}
ASIDE: Final[Mapping[str, Any]] = {
    NO_DATES: gettext_lazy("its expected dates are not computed yet"),
    TOO_FAR: gettext_lazy("its site is more than 400 km from every crew of its branch: check the position"),
}


def collision_words(facts: Collection[str]) -> str:
    """One sentence about the smallest set of facts that keeps a job out; empty facts: it has room."""
    if not facts:
        return _("there is room for it, but the search found no plan in which taking it in costs less")
    said = SAID.get(frozenset(facts))
    if said is not None:
        return str(said)
    return _("these cannot all hold: %(facts)s") % {"facts": listed([str(FACTS.get(fact, fact)) for fact in facts])}


def aside_words(reason: str) -> str:
    """Why a job was not even handed to the planner."""
    return str(ASIDE.get(reason, reason))
