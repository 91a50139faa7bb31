"""Hundreds of random waters while the tests run: ours against PHREEQC 3 with its phreeqc.dat (USGS), seeded.

The program promises 0.05 in the index; the bounds here are tighter, so that a slip shows.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np
import pytest

from jobs.physics.water import field_bias, saturation_index_standard_methods
from tests.physics.opinions import pool_water
from tests.physics.opinions.opinion import Opinion
from tests.published.rows import Record

SEED = 20250415
OPINIONS: dict[str, Callable[[], Opinion]] = {
    "saturation index": functools.partial(pool_water.index, SEED, 400),
    "acid demand": functools.partial(pool_water.acid, SEED + 1, 400),
    "acid demand with borate": functools.partial(pool_water.acid_with_borate, SEED + 2, 100),
    "pH in air": functools.partial(pool_water.air, SEED + 3, 150),
    "precipitation potential": functools.partial(pool_water.precipitation, SEED + 4, 150),
    "pH after an addition": functools.partial(pool_water.every_substance, SEED + 5, 300),
}


@functools.cache
def opinion(name: str) -> Opinion:
    return OPINIONS[name]()


def live_agreement() -> dict[str, dict[str, float | str]]:
    """{"PHREEQC 3 (phreeqc.dat): <quantity>": {"n", "max", "mean", "unit"}}, differences over the waters."""
    every = [opinion(name) for name in OPINIONS]
    return {
        f"{each.library}: {each.quantity}": {
            "n": float(each.differences.size),
            "max": float(each.differences.max()),
            "mean": float(each.differences.mean()),
            "unit": "share" if each.relative else each.unit,
        }
        for each in every
    }


@pytest.mark.parametrize("name", OPINIONS)
def test_phreeqc_agrees_on_random_waters(name: str, record_property: Record) -> None:
    asked = opinion(name)
    case, ours, theirs, apart = asked.worst()
    record_property("library", asked.library)
    record_property("quantity", asked.quantity)
    record_property("waters", len(asked.cases))
    record_property("greatest difference", apart)
    record_property("mean difference", float(asked.differences.mean()))
    assert np.isfinite(asked.theirs).all()
    assert apart <= asked.bound, f"{case}: ours {ours:.6g}, PHREEQC {theirs:.6g}"
    assert asked.differences.mean() <= asked.bound / 5


def test_the_index_is_within_a_hundredth_where_the_promise_is_a_twentieth() -> None:
    asked = opinion("saturation index")
    assert asked.differences.size >= 300
    assert asked.differences.max() < 0.01


def test_waters_of_the_second_opinion_span_the_promised_range() -> None:
    some = pool_water.waters(SEED, 400)
    assert some.ph.min() < 7 and some.ph.max() > 10.3
    assert some.temp_c.min() < 5 and some.temp_c.max() > 35
    assert (some.tds > 6000).sum() > 50
    index = opinion("saturation index").theirs
    assert index.min() < -1 and index.max() > 2


def test_the_field_table_reads_too_corrosive_in_cold_water() -> None:
    """What its docstring warns of, against PHREEQC rather than against ourselves."""
    cold = float(field_bias(5.0, 7.6, 200, 100, 500))
    warm = float(field_bias(35.0, 7.6, 200, 100, 500))
    assert -0.32 < cold < -0.2
    assert abs(warm) < 0.14


def test_all_alkalinity_taken_as_bicarbonate_over_reads_at_high_ph() -> None:
    """PHREEQC: 1.947 at pH 9.619 (row REACT-05); the Standard Methods form takes it far higher."""
    form = float(saturation_index_standard_methods(25.0, 9.619, 250, 150, 500))
    assert form > 1.947 + 0.3
