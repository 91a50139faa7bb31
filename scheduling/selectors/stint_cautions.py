"""The cautions of a stint's stage, as on the crew lead's page."""

from __future__ import annotations

from django.utils.translation import gettext as _

from jobs.condition import cautions as work_care
from jobs.models import Scope
from jobs.spoken import spoken
from scheduling.models import Stage, Stint
from scheduling.selectors.today import CAUTIONS, OWN


def stint_cautions(stint: Stint, scope: Scope | None) -> list[str]:
    said = [_(text) if text in OWN else spoken(text) for text in CAUTIONS.get(stint.stage, ())]
    if stint.stage == Stage.PREP and scope is not None and scope.painted:
        said.insert(0, spoken(work_care.LEAD_ASBESTOS))
    return said
