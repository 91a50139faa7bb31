"""Every number of a formula once: unit, value, source key."""

from __future__ import annotations

from typing import Final

KELVIN: Final = 273.15  # 0 degC in K, exact (SI brochure)
