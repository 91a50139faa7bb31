"""The first crews of a new firm, all at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from scheduling.models import Crew
from scheduling.services.crews import crew_make
from shared.models import Membership


@transaction.atomic
def crews_begin(
    people: Mapping[str, tuple[str, int]],
    *,
    latitude: float,
    longitude: float,
    shifts: Callable[[str], Sequence[tuple[int, int, int]]],
    branch: str,
    by: Membership | str,
) -> list[Crew]:
    """One crew for each skill, {skill: (name, people)}, all from one base, each with the week of its skill.

    Refused as a whole.
    """
    if not people:
        raise ValidationError(_("Name at least one crew with its people."))
    return [
        crew_make(
            name=name,
            skills=[skill],
            people=count,
            latitude=latitude,
            longitude=longitude,
            shifts=shifts(skill),
            branch=branch,
            by=by,
        )
        for skill, (name, count) in people.items()
    ]
