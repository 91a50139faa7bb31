"""Decisions that a pool owner asks for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Final

from django.urls import reverse
from django.utils.translation import gettext as _

from jobs.models import JobState
from scheduling.models import Stage
from scheduling.selectors.decision_facts import DecisionFacts
from scheduling.selectors.decisions import Decision, Way, link, no_other, when_words

BEFORE_FILL: Final = dt.timedelta(days=7)  # [CP] sooner nobody can say who will be there
STATES: Final = (JobState.DATE_PROMISED, JobState.SCOPE_AGREED, JobState.UNDER_WAY, JobState.FILLING)


def asks_to_be_rung(facts: DecisionFacts) -> Iterable[Decision]:
    """A pool owner chose "Please ring me", and the fill is near or runs."""
    for job in facts.jobs:
        start = facts.stint(job, Stage.FILL_START)
        if job.someone_home is not False or job.state not in STATES or start is None:
            continue
        begins = start.begins
        if begins - facts.now > BEFORE_FILL:
            continue
        name, phone = job.pool_owner.name, job.pool_owner.phone
        yield Decision(
            kind="ring_owner",
            risk=_("%(name)s asks to be rung before the fill at %(site)s.") % {"name": name, "site": job.site.label},
            why=_("“Please ring me” was chosen on the private link. Telephone: %(phone)s.")
            % {"phone": phone or _("none is known")},
            measure=_("Filling starts %(when)s.") % {"when": when_words(begins.astimezone(job.site.tz), facts.units)},
            ways=(
                Way(_("Rung: someone will be there"), no_other(), reverse("job-rung", args=[job.pk]), {}, True),
                link(_("Open the job"), _("the fill day can be asked for anew there"), "job", job.pk),
            ),
            lost_days=0.5,
            left_days=max(0.1, facts.days_until(begins)),
            weight=job.weight,
            job=job,
            who=_("office, by telephone"),
        )
