"""After warming up nothing is compiled while somebody waits."""

from jobs.timeline import column, day_rules, day_starts
from jobs.timeline.warm_up import warm_up

LOOPS = (column.run_bare, column.run_coats, day_starts.judge_all, day_starts.closed_at_once, day_rules.judge)


def test_warming_up_leaves_every_inner_loop_compiled() -> None:
    warm_up()
    for loop in LOOPS:  # those that are called from Python; what they call in turn may come from the kept machine code
        assert len(loop.signatures) >= 1  # type: ignore[attr-defined]  # not in the stubs
    before = [len(loop.signatures) for loop in LOOPS]  # type: ignore[attr-defined]  # not in the stubs
    warm_up()
    assert [len(loop.signatures) for loop in LOOPS] == before  # type: ignore[attr-defined]  # not in the stubs
