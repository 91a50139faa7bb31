"""Bibliography: every source once, by key. A docstring or constant cites the key in [brackets]."""

from __future__ import annotations

from typing import Final

SOURCES: Final[dict[str, str]] = {
    "CP": "Common practice of the trade, no citable source; a setting of the contractor.",
    "M": "Recalled from memory; the original was not opened. A sanity band, not an authority.",
}
