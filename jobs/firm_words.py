"""Sentences that a firm may say in its own words, each with what is said until it does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import get_language, gettext, gettext_noop
from django.utils.translation import gettext_lazy as _

from shared.models import Firm

LANGUAGES: Final = ("en", "es")
LONGEST: Final = 600  # characters of one sentence


@dataclass(frozen=True)
class Place:
    """Where a sentence is said, and what is said there until the firm says something else ("" for nothing)."""

    label: Any
    usual: str = ""


PLACES: Final[Mapping[str, Place]] = {
    "line_drying": Place(
        _("Plaster day, drying rate at its line"),
        gettext_noop(
            "Shade the wet face and break the wind; fog over it, never onto it; evaporation retarder only by its "
            "sheet. "
            "If it stays above the stop line, lay no further batch and finish what lies."
        ),
    ),
    "line_wind": Place(
        _("Plaster day, wind at its line"),
        gettext_noop(
            "Put up windbreaks on the windward side and shorten the sections. If the wind stays above its line, lay no "
            "further batch and finish what lies."
        ),
    ),
    "line_heat": Place(
        _("Plaster day, heat at its line"),
        gettext_noop(
            "Cool water or ice in the mix, shade over the basin, wet the shell ahead without puddles; retarder only by "
            "its sheet. Above the line lay no further batch."
        ),
    ),
    "line_cold": Place(
        _("Plaster day, cold at its line"),
        gettext_noop(
            "Warm water in the mix, blankets ready for the night. Below the line lay no further batch and cover "
            "what lies."
        ),
    ),
    "line_rain": Place(
        _("Plaster day, rain"),
        gettext_noop(
            "Cover what is not set yet and keep run-off out of the basin. Lay no further batch; call the office before "
            "anything that was rained on is trowelled."
        ),
    ),
    "pool_owner": Place(_("Private link of the pool owner, after the fill day")),
    "pool_owner_month": Place(_("Private link of the pool owner, with the dates of the first month")),
}


def words_said(firm: Firm, place: str, language: str | None = None) -> str:
    """The firm's own sentence in the language of the page, else in its other language, else the usual one."""
    own = own_words(firm, place)
    language = (language or get_language() or "en")[:2]
    found = own.get(language) or next((text for text in own.values() if text), "")
    usual = PLACES[place].usual
    return found or (gettext(usual) if usual else "")


def own_words(firm: Firm, place: str) -> dict[str, str]:
    """The firm's own sentence by language."""
    kept = firm.words.get(place) or {}
    return {"en": kept} if isinstance(kept, str) else {name: str(kept.get(name) or "") for name in LANGUAGES}
