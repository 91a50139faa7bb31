"""The planner's rules in the words of the trade."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext_lazy as _

RULES: Final[Mapping[str, Any]] = {
    "predecessor": _("the stage before it is not over"),
    "weather": _("the weather does not allow it"),
    "cure": _("the coat before it has not cured"),
    "recoat": _("the bond coat would be too old"),
    "quiet": _("quiet hours at the site"),
    "shift": _("outside the crew's shift"),
    "crew": _("the crew is at another site"),
    "travel": _("no time for the road between two sites"),
    "pump": _("all pumps are in use"),
    "rig": _("all mixing rigs are in use"),
    "fill_window": _("too long after the plaster day"),
    "pin": _("kept on its day, or already begun"),
    "horizon": _("beyond the weeks that are planned"),
}
