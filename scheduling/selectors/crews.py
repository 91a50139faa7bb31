from __future__ import annotations

import datetime as dt
from collections import defaultdict

from scheduling.models import Absence, Crew, Shift
from scheduling.slots import DAY_SLOTS, SLOT_MIN, SlotClock


def crews_at_work(branch: str | None = None) -> list[Crew]:
    """Active crews of the firm, or of one branch, with their shifts and absences at hand."""
    crews = Crew.objects.filter(active=True) if branch is None else Crew.objects.filter(active=True, branch=branch)
    return list(crews.prefetch_related("shifts", "absences").select_related("lead__person").order_by("name"))


def shift_slots(crew: Crew, clock: SlotClock, days: int) -> list[list[int]]:
    """Working spans of a crew as slots, absences taken out, ascending."""
    by_weekday: dict[int, list[Shift]] = defaultdict(list)
    for shift in crew.shifts.all():
        by_weekday[shift.weekday].append(shift)
    absences = list(crew.absences.all())
    spans: list[list[int]] = []
    for day in range(days):
        date = clock.first_day + dt.timedelta(days=day)
        if is_absent(absences, date):
            continue
        spans += [
            [day * DAY_SLOTS + shift.from_min // SLOT_MIN, day * DAY_SLOTS + shift.to_min // SLOT_MIN]
            for shift in by_weekday[date.weekday()]
        ]
    return spans


def is_absent(absences: list[Absence], date: dt.date) -> bool:
    return any(absence.first_day <= date <= absence.last_day for absence in absences)
