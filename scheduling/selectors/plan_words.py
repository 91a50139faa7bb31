"""What a plan costs, in words: the planner's points as fill days, and what no plan can beat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from jobs.people_units import said
from scheduling.selectors.problem import WEIGHTS
from scheduling.solver.objective import Terms
from scheduling.solver.problem import Problem
from shared.models import Firm

LEAST_WAY_M: Final = 1000


@dataclass(frozen=True)
class PlanWords:
    """Sentences about one plan or one search; empty where nothing is known yet."""

    better: str = ""
    bound: str = ""
    left_out: str = ""

    @property
    def any(self) -> bool:
        return bool(self.better or self.bound or self.left_out)


def points_a_day() -> int:
    """Points of one pool full one day later."""
    weights = Firm.objects.values_list("weights", flat=True).first() or {}
    return max(1, int(weights.get("fill_day", WEIGHTS["fill_day"])))


def plan_words(known: Mapping[str, Any], day_points: int) -> PlanWords:
    """From {objective, bound, greedy, unplanned} to sentences; one day is one pool full one day later.

    Where {main, main_bound} are known, they say how much sooner the pools could be full at most: driving and moves,
    which `bound` counts too, are not what the office asks.
    """
    objective, bound, greedy = known.get("objective"), known.get("bound"), known.get("greedy")
    main, main_bound = known.get("main"), known.get("main_bound")
    left_out = int(known.get("unplanned") or 0)
    return PlanWords(
        better=_better(greedy, objective, day_points),
        bound=_bound(objective, bound, day_points, main, main_bound),
        left_out=_left_out(left_out, day_points) if left_out else "",
    )


def _left_out(count: int, day_points: int) -> str:
    days = round(WEIGHTS["unplanned"] / day_points)
    return ngettext(
        "%(count)s job finds no place; the search counts it as %(days)s days.",
        "%(count)s jobs find no place; the search counts each as %(days)s days.",
        count,
    ) % {"count": count, "days": days}


def _better(greedy: int | None, objective: int | None, day_points: int) -> str:
    if greedy is None or objective is None:
        return ""
    days = round((greedy - objective) / day_points)
    if days <= 0:
        return _("As good as a plain day-by-day plan.")
    return ngettext(
        "%(days)s day better than a plain day-by-day plan, over all pools together.",
        "%(days)s days better than a plain day-by-day plan, over all pools together.",
        days,
    ) % {"days": days}


def _bound(
    objective: int | None, bound: int | None, day_points: int, main: int | None = None, main_bound: int | None = None
) -> str:
    if objective is None or not bound:
        return ""
    if objective <= bound:
        return _("No plan can beat this.")
    if main is not None and main_bound:
        return _bound_of_days(main, main_bound, day_points)
    days = max(0, -(-(objective - bound) // day_points))
    return ngettext(
        "No plan can beat this by more than %(days)s day, over all pools together.",
        "No plan can beat this by more than %(days)s days, over all pools together.",
        days,
    ) % {"days": days}


def _bound_of_days(main: int, main_bound: int, day_points: int) -> str:
    days = max(0, -(-(main - main_bound) // day_points))
    if not days:
        return _("No plan can have the pools full sooner, all together.")
    return ngettext(
        "No plan can have the pools full sooner by more than %(days)s day, all together.",
        "No plan can have the pools full sooner by more than %(days)s days, all together.",
        days,
    ) % {"days": days}


def cost_words(before: Terms, after: Terms, problem: Problem, units: str) -> str:
    """What a change costs, in days and way; the move itself is not counted."""
    parts = []
    days = round((after.fill - before.fill) / max(1, problem.weights.fill_day))
    if days > 0:
        parts.append(ngettext("full %(days)s day later", "full %(days)s days later", days) % {"days": days})
    elif days < 0:
        parts.append(ngettext("full %(days)s day sooner", "full %(days)s days sooner", -days) % {"days": -days})
    way_m = after.travel_m - before.travel_m
    if abs(way_m) >= LEAST_WAY_M:
        way = said("distance", abs(way_m), units)
        parts.append((_("%(way)s more on the road") if way_m > 0 else _("%(way)s less on the road")) % {"way": way})
    return ", ".join(parts) if parts else _("costs nothing")
