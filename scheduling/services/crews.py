from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from scheduling.models import Absence, Crew, Shift, Skill
from shared.models import Membership
from shared.services.audit import audit_note


@transaction.atomic
def crew_make(
    *,
    name: str,
    skills: list[str],
    people: int,
    latitude: float,
    longitude: float,
    shifts: Sequence[tuple[int, int, int]],
    by: Membership | str,
    branch: str = "main",
) -> Crew:
    """A new crew with its weekly shifts: (weekday, from, to) in minutes of the local day."""
    _check(name, skills, people, None)
    crew = Crew.objects.create(
        name=name, skills=skills, people=people, latitude=latitude, longitude=longitude, branch=branch
    )
    shifts_set(crew, shifts)
    audit_note(by, "crew made", crew, after={"name": name, "skills": skills, "people": people})
    return crew


@transaction.atomic
def crew_change(
    crew: Crew,
    *,
    name: str,
    skills: list[str],
    people: int,
    latitude: float,
    longitude: float,
    shifts: Sequence[tuple[int, int, int]],
    by: Membership | str,
    branch: str,
    lead: Membership | None,
    active: bool = True,
) -> Crew:
    """Change a crew and its weekly shifts; its issued stints stay until the next plan."""
    _check(name, skills, people, crew)
    facts = ("name", "skills", "people", "branch", "latitude", "longitude", "active")
    before = {fact: getattr(crew, fact) for fact in facts} | {"lead": str(crew.lead_id or "")}
    crew.name, crew.skills, crew.people, crew.branch = name, skills, people, branch
    crew.latitude, crew.longitude, crew.active, crew.lead = latitude, longitude, active, lead
    crew.save()
    shifts_set(crew, shifts)
    after = {fact: getattr(crew, fact) for fact in facts} | {"lead": str(crew.lead_id or "")}
    audit_note(by, "crew changed", crew, before=before, after={**after, "shifts": [list(shift) for shift in shifts]})
    return crew


def _check(name: str, skills: list[str], people: int, crew: Crew | None) -> None:
    if not skills or not set(skills) <= set(Skill.values):
        raise ValidationError(
            _("Skills are “%(skills)s”; allowed are water, prep and plaster, at least one.")
            % {"skills": ", ".join(skills)}
        )
    if not 1 <= people <= 30:
        raise ValidationError(_("People is %(people)s; allowed is 1 to 30 people.") % {"people": people})
    namesakes = Crew.objects.filter(name=name)
    if (namesakes.exclude(pk=crew.pk) if crew else namesakes).exists():
        raise ValidationError({"name": _("There is a crew “%(name)s” already.") % {"name": name}})


@transaction.atomic
def shifts_set(crew: Crew, shifts: Sequence[tuple[int, int, int]]) -> None:
    """Replace a crew's weekly shifts; on half-hours, in order, not overlapping."""
    last: tuple[int, int] = (-1, 0)
    for weekday, start, end in sorted(shifts):
        if not 0 <= weekday <= 6 or not 0 <= start < end <= 1440 or start % 30 or end % 30:
            raise ValidationError(
                _("A shift on day %(day)s from minute %(start)s to %(end)s: allowed are half-hours from 0 to 1440.")
                % {"day": weekday, "start": start, "end": end}
            )
        if last[0] == weekday and start < last[1]:
            raise ValidationError(_("Two shifts of one day overlap."))
        last = (weekday, end)
    Shift.objects.filter(crew=crew).delete()
    for weekday, start, end in sorted(shifts):
        Shift.objects.create(crew=crew, weekday=weekday, from_min=start, to_min=end)


@transaction.atomic
def absence_note(crew: Crew, *, first_day: dt.date, last_day: dt.date, reason: str, by: Membership | str) -> Absence:
    """A crew does not work from the first to the last day."""
    if not first_day <= last_day <= first_day + dt.timedelta(days=366):
        raise ValidationError(
            _("The absence is from %(first)s to %(last)s; allowed is one day to a year, first day first.")
            % {"first": date_format(first_day, "D j M Y"), "last": date_format(last_day, "D j M Y")}
        )
    absence = Absence.objects.create(crew=crew, first_day=first_day, last_day=last_day, reason=reason)
    audit_note(by, "absence noted", crew, after={"first": first_day.isoformat(), "last": last_day.isoformat()})
    return absence


@transaction.atomic
def absence_end(absence: Absence, *, by: Membership | str) -> None:
    """The crew works on those days after all."""
    audit_note(
        by,
        "absence taken back",
        absence.crew,
        before={"first": absence.first_day.isoformat(), "last": absence.last_day.isoformat()},
    )
    absence.delete()
