"""Issued stints that a crew cannot work, with whom to tell."""

from __future__ import annotations

import datetime as dt

from scheduling.models import Absence, Crew, Stint, StintState


def stints_hit(crew: Crew, today: dt.date) -> list[Stint]:
    """Issued stints of the crew on days of its absences, today or later, with job and pool owner; two queries."""
    absences = list(Absence.objects.filter(crew=crew, last_day__gte=today))
    if not absences:
        return []
    ahead = (
        Stint.objects.filter(crew=crew, state=StintState.ISSUED, starts__date__gte=min(a.first_day for a in absences))
        .select_related("job__site", "job__pool_owner")
        .order_by("starts", "key")
    )
    return [stint for stint in ahead if _absent_on(stint, absences)]


def _absent_on(stint: Stint, absences: list[Absence]) -> bool:
    zone = stint.job.site.tz
    first, last = stint.starts.astimezone(zone).date(), stint.ends.astimezone(zone).date()
    return any(absence.first_day <= last and first <= absence.last_day for absence in absences)
