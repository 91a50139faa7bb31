"""Words that everybody would try here."""

from __future__ import annotations

from typing import Any, Final

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

# The product, the trade and its roles: a password made of nothing but these is guessed first.
WORDS: Final = (
    "resurf", "pool", "plaster", "basin", "water", "trowel", "crew", "office", "manager", "password", "contractor",
    "concrete", "resurfacing", "chip", "fill",
)  # fmt: skip
OWN_LEAST: Final = 8  # characters that are left of a password without these words


class ContextWordsValidator:
    """A password needs eight characters of its own beside the words of the trade."""

    def validate(self, password: str, user: Any = None) -> None:
        rest = password.lower()
        for word in sorted(WORDS, key=len, reverse=True):
            rest = rest.replace(word, "")
        if rest != password.lower() and len(rest) < OWN_LEAST:
            raise ValidationError(self.get_help_text())

    def get_help_text(self) -> str:
        return str(_("Words of this trade are guessed first: add some of your own."))
