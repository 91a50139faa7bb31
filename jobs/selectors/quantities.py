from __future__ import annotations

from jobs.condition.quantities import Quantities, ScopeFigures, quantities
from jobs.models import Job, Scope
from jobs.selectors.pools import pool_figures
from jobs.timeline.rates import Rates, rates_of
from shared.models import Firm


def scope_latest(job: Job) -> Scope | None:
    """The scope that counts: the newest."""
    return Scope.objects.filter(job=job).order_by("agreed_at", "id").last()


def firm_rates(firm: Firm) -> Rates:
    return rates_of({name: float(value) for name, value in firm.rates.items()})


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
