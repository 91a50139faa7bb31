from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _

from jobs.condition.quantities import Quantities, ScopeFigures, quantities
from jobs.models import Job, Scope
from jobs.physics.constants import POUND_KG
from jobs.selectors.learned import firm_rates
from jobs.selectors.pools import pool_figures
from jobs.timeline.rates import Rates
from shared.models.firm import Units

__all__ = ["Bags", "bags_of", "firm_rates", "job_quantities", "scope_latest"]

# Weights printed on bags: cement 94 lb in the US (from memory), else 25 kg; fines by common practice.
CEMENT_BAG: Final = {Units.US: (94, "lb", 94 * POUND_KG), Units.METRIC: (25, "kg", 25.0)}
FINES_BAG: Final = {Units.US: (50, "lb", 50 * POUND_KG), Units.METRIC: (25, "kg", 25.0)}


@dataclass(frozen=True)
class Bags:
    """Whole bags in words: "21 bags of 94 lb"."""

    cement: str
    fines: str


def scope_latest(job: Job) -> Scope | None:
    """The scope that counts: the newest."""
    return Scope.objects.filter(job=job).order_by("agreed_at", "id").last()


def job_quantities(job: Job, scope: Scope, rates: Rates) -> Quantities:
    """Areas, hours and material of a job under its scope."""
    figures = ScopeFigures(
        strip_share=scope.strip_share,
        coats_off=scope.coats_off,
        painted=scope.painted,
        tile_line_cut=scope.kind == "cut_and_taper",
        repairs_h=scope.repairs_h,
    )
    return quantities(pool_figures(job.pool), figures, rates)


def bags_of(found: Quantities, units: str) -> Bags:
    """Bags of cement and of fines in the weights that are sold where these units are used."""
    return Bags(_bags(found.cement_kg, CEMENT_BAG[Units(units)]), _bags(found.aggregate_kg, FINES_BAG[Units(units)]))


def _bags(needed_kg: float, bag: tuple[int, str, float]) -> str:
    weight, unit, kg = bag
    count = math.ceil(needed_kg / kg - 0.01)  # a batch is one bag to the last spoon
    return _("%(count)s bags of %(weight)s %(unit)s") % {"count": count, "weight": weight, "unit": unit}
