"""Masks of free starts against a slot-by-slot count."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.solver.objective import Work, work_of
from scheduling.solver.problem import Problem
from scheduling.solver.timeline import WHOLE_DAY, Timeline, between, each, earliest, starts_of
from tests.solver.tiny import (
    DAY,
    every_day,
    job,
    random_problem,
    shifts,
    stint,
    tiny_plan,
    tiny_problem,
    two_plans,
    two_pools,
)

QUICK = settings(max_examples=60, deadline=None, derandomize=True)


def bits(slots: set[int]) -> int:
    return sum(1 << slot for slot in slots)


@QUICK
@given(st.integers(-60, 60), st.integers(-60, 110))
def test_between_is_cut_to_the_day(first: int, last: int) -> None:
    assert between(first, last) == bits({slot for slot in range(DAY) if first <= slot < last})


@QUICK
@given(st.sets(st.integers(0, DAY - 1)), st.integers(1, 50))
def test_a_stint_starts_where_all_its_slots_are_free(free: set[int], length: int) -> None:
    starts = {slot for slot in range(DAY) if set(range(slot, slot + length)) <= free}
    assert starts_of(bits(free), length) == bits(starts)
    assert list(each(bits(starts))) == sorted(starts)
    if starts:
        assert earliest(bits(starts)) == min(starts)


def line_of(*stages: str) -> tuple[Timeline, list[Work]]:
    """The timeline of two pools with some stages of A placed."""
    problem = Problem.from_json(two_pools())
    line = Timeline(problem)
    works = [work for work in work_of(problem, tiny_plan()) if work.stage in stages]
    for work in works:
        line.place(work)
    return line, works


def test_a_crew_is_free_in_its_shift_but_for_other_stints_and_roads() -> None:
    line, _ = line_of("drain_pull")  # W at A from 28 to 30; A to B is one slot
    assert list(each(line.free(0, 0, 3, 1))) == [*range(16, 25), *range(31, 32)]
    assert list(each(line.free(0, 0, 3, 0))) == [*range(16, 26), *range(30, 32)]  # on the same site
    assert list(each(line.free(0, 1, 3, 1))) == [*range(16, 32)]


def test_taking_a_stint_out_again_leaves_no_trace() -> None:
    line, works = line_of("drain_pull", "prep", "plaster")
    assert sum(line.rigs_held) == 8
    for work in works:
        line.remove(work)
    empty, _ = line_of()
    assert (line.busy, line.rigs_held) == (empty.busy, empty.rigs_held)


def test_a_long_prep_meets_what_is_in_its_way() -> None:
    line, _ = line_of("bond")  # P at A from 112 to 114
    assert line.prep_conflict(1, 1, 30, 111) is None
    assert line.prep_conflict(1, 1, 30, 112) == 115  # a slot on the road before and after
    assert line.prep_conflict(1, 0, 30, 112) is None
    assert line.prep_conflict(1, 1, 114, 120) == 115
    assert line.prep_conflict(1, 1, 115, 120) is None


def test_the_rig_is_free_when_nobody_plasters() -> None:
    line, _ = line_of("plaster")
    assert line.rig_starts(3, 8) == WHOLE_DAY & between(0, 41)  # two rigs
    one = Timeline(Problem.from_json(two_pools(rigs=1)))
    one.place(next(work for work in work_of(one.problem, tiny_plan()) if work.stage == "plaster"))
    assert list(each(one.rig_starts(3, 8))) == [*range(9), *range(24, 41)]


def test_the_last_slot_at_which_all_pumps_are_out() -> None:
    line, _ = line_of()
    line.hold_pump(16, 30)
    line.hold_pump(-5, 20)
    assert line.last_full(line.pumps_held, 2, 0, 40) == 19
    assert line.last_full(line.pumps_held, 2, 20, 40) is None
    line.hold_pump(-5, 20, -1)
    assert line.last_full(line.pumps_held, 1, 0, 40) == 29


@pytest.mark.parametrize("stage", ["bond", "fill_start"])
def test_a_site_allows_what_is_neither_quiet_nor_blocked_nor_too_soon(stage: str) -> None:
    document = tiny_problem(now=60, jobs=[job(earliest=70, blocked={stage: [[80, 82]]})])
    line = Timeline(Problem.from_json(document))
    # Day 1, length 3: from 70; not into 80 to 82; done before the quiet begins at 40 o'slot (slot 88).
    starts = [DAY + start for start in each(line.site_starts(0, stage, 1, 3, 0, 10_000))]
    assert starts == [*range(70, 78), *range(82, 86)]


def test_free_starts_agree_with_a_count_of_slots() -> None:
    rng = Random(5)
    for seed in range(25):
        problem = Problem.from_json(random_problem(seed))
        line = Timeline(problem)
        for _ in range(20):
            crew, length = rng.randrange(len(problem.crews)), rng.randint(1, 5)
            at, day = rng.randrange(len(problem.jobs)), rng.randrange(problem.horizon_days)
            on_shift = {
                start
                for first, last in problem.crews[crew].shifts
                for start in range(first, last - length + 1)
                if start // DAY == day
            }
            assert {DAY * day + start for start in each(line.free(crew, day, length, at))} == on_shift
            quiet = {slot for first, last in problem.jobs[at].quiet for slot in range(first, last)}
            calm = {start for start in range(DAY - length + 1) if not quiet & set(range(start, start + length))}
            assert set(each(line.quiet_starts(at, length))) == calm


def test_working_slots_are_on_shift_and_neither_quiet_nor_blocked() -> None:
    document = tiny_problem(jobs=[job(quiet=[[0, 18]], blocked={"prep": [[20, 22], [64, 560]]})])
    line = Timeline(Problem.from_json(document))
    assert line.working(1, 0) == [18, 19, *range(22, 34), *range(560, 562)]


def test_rows_and_shifts_are_per_day() -> None:
    assert every_day(1, 2, 3, days=[0, 2]) == [[0, 1, 2, 3], [2, 97, 98, 3]]
    assert shifts(1, 2, days=[1]) == [[49, 50]]
    assert stint("prep", "P", 3) == tiny_plan(prep=("P", 3)).stints[2]
    assert len(two_plans().stints) == 16
