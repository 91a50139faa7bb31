"""What a crew brings to a stint: the trade's list, with the amounts of the job where they follow from it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from django.utils.translation import gettext as _

from jobs import people_units
from jobs.condition.quantities import Quantities
from jobs.models import Scope
from jobs.selectors.quantities import job_quantities
from jobs.timeline.rates import Rates
from scheduling.models import Stage, Stint


def bring(stint: Stint, scope: Scope | None, rates: Rates, units: str) -> list[str]:
    """The list for one stint; amounts are left out where the pool or the scope is not known well enough."""
    work = None
    if scope is not None and stint.stage in _BY_STAGE:
        try:
            work = job_quantities(stint.job, scope, rates)
        except ValueError:
            work = None
    return _BY_STAGE[stint.stage](stint, work, units) if stint.stage in _BY_STAGE else []


def _drain_setup(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    return [
        _("submersible pump and discharge hose"),
        _("cord with GFCI"),
        _("tape and light for the groundwater pipe"),
        _("key of the hydrostatic relief valve"),
        _("barrier"),
    ]


def _drain_pull(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    return [_("wet vacuum"), _("cord with GFCI"), _("key of the hydrostatic relief valve"), _("barrier")]


def _prep(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    parts = [_("chipping hammers"), _("hammer to sound for hollow spots")]
    if work is not None and work.cut_m > 0:
        cut = people_units.said("metres", work.cut_m, units, 0)
        parts.append(_("saw with water for %(cut)s along the tile line") % {"cut": cut})
    parts += [_("water or a dust collector with respirators"), _("cord with GFCI")]
    if work is not None and work.debris_kg > 0:
        debris = people_units.said("mass", work.debris_kg, units, -1)
        parts.append(_("room for about %(debris)s of debris") % {"debris": debris})
    return parts


def _bond(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    coat = _("bond coat")
    if work is not None:
        coat = _("%(mass)s of bond coat") % {"mass": people_units.said("mass", work.bond_coat_kg, units, -1)}
    return [coat, _("rollers and brushes"), _("thermometer for the surface and hygrometer"), _("gloves")]


def _plaster(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    mix = _("material for the coat")
    if work is not None:
        mix = _("material for %(batches)d batches (white cement %(cement)s, fines %(fines)s, water %(water)s)") % {
            "batches": work.batches,
            "cement": people_units.said("mass", work.cement_kg, units, -1),
            "fines": people_units.said("mass", work.aggregate_kg, units, -1),
            "water": people_units.said("litres", work.mixing_water_l, units, 0),
        }
    return [
        mix,
        _("mixer, pump and hose"),
        _("trowels and spiked shoes for everybody"),
        _("thermometer for the material"),
        _("gloves with boots and eye protection"),
    ]


def _fill_start(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    hoses = stint.job.site.hoses
    return [
        _("%(n)d filling hoses each with a backflow preventer or an air gap") % {"n": hoses}
        if hoses > 1
        else _("filling hose with a backflow preventer or an air gap"),
        _("clean rag for the hose end"),
        _("drain covers with their screws and the plug of the relief valve"),
        _("bucket and watch to measure the flow"),
        _("test kit for the fill water"),
        _("barrier"),
    ]


def _fill_end(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    return [_("rule for the level"), _("lamp"), _("test kit"), _("pole and brush"), _("keys of the filter")]


def _start_up(stint: Stint, work: Quantities | None, units: str) -> list[str]:
    return [
        _("test kit with fresh reagents and thermometer"),
        _("pole and brush"),
        _("bucket for dissolving"),
        _("acid and bicarbonate in separate crates"),
        _("gloves with eye protection"),
    ]


_BY_STAGE: Final[dict[str, Callable[[Stint, Quantities | None, str], list[str]]]] = {
    Stage.DRAIN_SETUP: _drain_setup,
    Stage.DRAIN_PULL: _drain_pull,
    Stage.PREP: _prep,
    Stage.BOND: _bond,
    Stage.BOND_AGAIN: _bond,
    Stage.PLASTER: _plaster,
    Stage.FILL_START: _fill_start,
    Stage.FILL_END: _fill_end,
    Stage.START_UP: _start_up,
}
