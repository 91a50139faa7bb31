"""Why the weather closes a day, in the language and units of the reader.

The timeline names a reason by its code and hands over the figure and its limit in SI; the sentences stand here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from jobs.forms.clock import DAY_MIN, clock_text
from jobs.people_units import QUANTITIES, chance, said
from jobs.spoken import spoken

WORDS: Final[Mapping[str, Any]] = {
    "cold": gettext_lazy("the air falls to %(value)s before fresh plaster may meet cold; least is %(limit)s"),
    "night": gettext_lazy("the first night falls to %(value)s; least is %(limit)s"),
    "frost": gettext_lazy("the surface freezes before it is old enough to bear frost"),
    "hot": gettext_lazy("the air reaches %(value)s; most is %(limit)s"),
    "wind": gettext_lazy("the wind at the surface reaches %(value)s; most is %(limit)s"),
    "evaporation": gettext_lazy("the drying rate reaches %(value)s; stop plastering above %(limit)s"),
    "rain": gettext_lazy("%(value)s of rain fall before the plaster has set and is past it"),
    "rain_chance": gettext_lazy("rain chance is %(value)s; plastering is not begun from %(limit)s"),
    "thunder": gettext_lazy("thunder chance is %(value)s; nobody works in the shell from %(limit)s"),
    "hands": gettext_lazy("%(value)s finishers are needed to trowel before it sets; there are %(limit)s"),
    "dark": gettext_lazy("the work does not fit between first and last light; last pass %(value)s, dusk %(limit)s"),
    "heat": gettext_lazy("the heat index reaches %(value)s; hard work stops at %(limit)s"),
    "slow": gettext_lazy("the plaster does not set within 72 h"),
    "no_weather": gettext_lazy("no weather is known for these hours"),
}
QUANTITY: Final[Mapping[str, str]] = {
    "cold": "temperature",
    "night": "temperature",
    "frost": "temperature",
    "hot": "temperature",
    "heat": "temperature",
    "wind": "wind",
    "evaporation": "drying",
    "rain": "rain",
}


def verdict_word(word: str) -> str:
    """The stored word in the reader's language."""
    return {
        "can plaster": _("can plaster"),
        "doubtful": _("doubtful"),
        "cannot plaster": _("cannot plaster"),
    }.get(word, word)


def why_words(stored: Mapping[str, Any], units: str) -> str:
    """The reason of a stored verdict or closed day (`code`, `value`, `limit`, else its English `why`)."""
    code = stored.get("code")
    if not code or code not in WORDS:
        return spoken(str(stored.get("why") or ""))
    value, limit = _figures(code, stored, units)
    return str(WORDS[code] % {"value": value, "limit": limit})


def _figures(code: str, stored: Mapping[str, Any], units: str) -> tuple[str, str]:
    """Figure and limit; a figure so near that both would read the same gets a decimal more, and so its limit."""
    both = (stored.get("value"), stored.get("limit"))
    value, limit = (_figure(code, one, units) for one in both)
    if value == limit and both[0] != both[1] and code in QUANTITY:
        value, limit = (_figure(code, one, units, finer=1) for one in both)
    return value, limit


def _figure(code: str, value: float | None, units: str, *, finer: int = 0) -> str:
    if value is None or not math.isfinite(value):
        return _("unknown")
    if code in QUANTITY:
        quantity = QUANTITY[code]
        decimals = max(0, QUANTITIES[quantity].shown(units).decimals) + finer if finer else None
        return said(quantity, value, units, decimals)
    if code == "hands":
        return f"{value:.1f}".removesuffix(".0")
    if code == "dark":
        return clock_text(int(60 * value) % DAY_MIN, units)
    return chance(value)
