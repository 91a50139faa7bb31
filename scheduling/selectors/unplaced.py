"""Jobs that are agreed and have no place in any plan, with the reason in words."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.utils.translation import gettext as _

from jobs.models import ExpectedDates, Job
from scheduling.models import Plan, PlanState, Stage, Stint, StintState
from scheduling.selectors.collision_words import aside_words, collision_words
from scheduling.selectors.problem import PLANNED


@dataclass(frozen=True)
class Unplaced:
    """A job without a fill day, and why."""

    job: Job
    why: str


def unplaced(names: Collection[str]) -> dict[str, list[Unplaced]]:
    """By branch, jobs that nobody has a date for; the newest plan of the branch says why."""
    ending = Stint.objects.filter(key=Stage.FILL_END).exclude(state=StintState.DROPPED).values("job")
    jobs = Job.objects.filter(state__in=PLANNED, filled_on=None, site__branch__in=names).exclude(pk__in=ending)
    found: dict[str, list[Unplaced]] = {name: [] for name in names}
    reasons = _reasons(names)
    dated = set(ExpectedDates.objects.filter(job__in=jobs.values("pk")).values_list("job_id", flat=True))
    for job in jobs.select_related("site").order_by("number"):
        why = reasons.get(str(job.pk))
        if job.pk not in dated:
            why = _("its expected dates are not computed yet")
        found[job.site.branch].append(Unplaced(job, why or _("no plan has been asked for since it was agreed")))
    return found


def _reasons(names: Collection[str]) -> dict[str, str]:
    """What the plans in force and proposed say of the jobs that they leave out, the newest last."""
    plans = Plan.objects.filter(branch__in=names, state__in=(PlanState.ISSUED, PlanState.PROPOSED))
    reasons: dict[str, str] = {}
    for left_out, aside in plans.order_by("version").values_list("answer__left_out", "answer__left_aside"):
        reasons |= {job: aside_words(reason) for job, reason in (aside or {}).items()}
        reasons |= {job: collision_words(facts) for job, facts in (left_out or {}).items()}
    return reasons
