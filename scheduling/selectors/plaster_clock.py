"""The plaster day in the phone's own terms: instants of sections and passes, so that its clock runs without signal."""

from __future__ import annotations

from typing import Any

from scheduling.models import StintState
from scheduling.selectors.plaster_day import PlasterSheet


def plaster_clock(sheet: PlasterSheet, units: str) -> dict[str, Any]:
    """Instants in ISO 8601; `laid` is when a section is to be finished, `laid_at` when it was."""
    rows = sheet.sections
    each = (rows[1].mixed - rows[0].mixed) if len(rows) > 1 else None
    over = sheet.stint is None or sheet.stint.state == StintState.DONE
    return {
        "day": sheet.day.isoformat() if sheet.day else "",
        "zone": str(sheet.job.site.zone),
        "units": units,
        "over": over or not rows,
        "begun": sheet.begun,
        "starts": sheet.starts.isoformat() if sheet.starts and rows else "",
        "sections": [
            {
                "n": row.number,
                "mixed": row.mixed.isoformat(),
                "laid": (row.mixed + each).isoformat() if each is not None else row.mixed.isoformat(),
                "laid_at": row.laid_at.isoformat() if row.laid_at else "",
                "passes": [
                    {
                        "n": cell.number,
                        "due": cell.due.isoformat(),
                        "until": cell.until.isoformat(),
                        "done": cell.done_at.isoformat() if cell.done_at else "",
                    }
                    for cell in row.passes
                ],
            }
            for row in rows
        ],
    }
