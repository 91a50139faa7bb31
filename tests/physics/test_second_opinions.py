"""Independent libraries, asked the same questions on random inputs, give the same answers."""

from __future__ import annotations

import numpy as np
import pytest

from tests.physics.opinions import OPINIONS


@pytest.mark.parametrize("name", OPINIONS)
def test_an_independent_library_agrees(name: str) -> None:
    ask, count = OPINIONS[name]
    opinion = ask(20260, count)
    assert len(opinion.ours) == len(opinion.theirs) == len(opinion.cases) >= 30
    assert np.isfinite(opinion.theirs).all()
    case, ours, theirs, apart = opinion.worst()
    assert apart <= opinion.bound, (
        f"{opinion.quantity}: {case}: ours {ours:.8g}, {opinion.library} {theirs:.8g}, {apart:.3g} apart "
        f"(allowed {opinion.bound:g}: {opinion.because})"
    )
