"""What longer hours of a water crew win: computed, never less than nothing, and the trap of Monday to Saturday."""

from __future__ import annotations

import pytest

from scheduling.solver.check import check
from scheduling.solver.duty import closer, duties
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import fill_days, work_of
from scheduling.solver.problem import Problem
from tests.solver.tiny import crew, every_day, job, random_problem, rules, shifts, tiny_problem

DAYS = 12
SUNDAYS = (5,)


def week_without_sunday() -> Problem:
    """Start-up on each of the three days after the fill, and nobody on day 5: a fill on days 2, 3 or 4 has no visits.

    As crews work Monday to Saturday, only fills from Monday to Wednesday remain.
    """
    working = [day for day in range(DAYS) if day not in SUNDAYS]
    water = crew("W", "water", people=1, shifts=shifts(12, 40, days=working))
    startup = [{"day": day, "tol": 0, "len": 1} for day in (1, 2, 3)]
    pool = job(quiet=[], prep_work=8, bond_days=every_day(16, 28, 2), plaster_days=every_day(16, 20, 8, 4), fill_len=24)
    others = tiny_problem()["crews"][1:]
    return Problem.from_json(tiny_problem(crews=[water, *others], jobs=[pool], rules=rules(startup=startup)))


def test_a_sunday_duty_frees_the_days_before_it() -> None:
    problem = week_without_sunday()
    plan = greedy(problem)
    assert check(problem, plan) == []
    full = fill_days(work_of(problem, plan))["A"]
    assert full >= 5  # nothing before: one of its three visits would fall on the Sunday
    best = duties(problem, plan, SUNDAYS)[0]
    assert best.kind == "sunday"
    assert best.crew == "W"
    assert best.days_won == full - 4 or best.days_won >= 1
    assert best.jobs_sooner == 1


def test_an_evening_watch_lets_a_fill_end_late() -> None:
    # Starts from 16 to 24, full 26 slots later at 42 to 50: the day shift ends at 34, the evening watch at 44.
    water = crew("W", "water", people=1, shifts=shifts(16, 34))
    pool = job(quiet=[], fill_len=24)
    document = tiny_problem(
        crews=[water, *tiny_problem()["crews"][1:]], jobs=[pool], rules=rules(fill_end_early=2, fill_end_late=0)
    )
    problem = Problem.from_json(document)
    plan = greedy(problem)
    found = duties(problem, plan, ())
    assert [one.kind for one in found] == ["evening"]
    assert found[0].last == 44


def test_hours_that_win_nothing_are_not_suggested() -> None:
    document = tiny_problem(crews=[crew("W", "water", people=1, shifts=shifts(0, 48)), *tiny_problem()["crews"][1:]])
    problem = Problem.from_json(document)
    assert duties(problem, greedy(problem), range(0, DAYS, 7)) == []


@pytest.mark.parametrize("seed", range(10))
def test_a_plan_put_closer_keeps_the_rules_and_no_pool_is_later(seed: int) -> None:
    problem = Problem.from_json(random_problem(seed))
    plan = greedy(problem)
    made = closer(problem, plan)
    assert check(problem, made) == []
    before, after = fill_days(work_of(problem, plan)), fill_days(work_of(problem, made))
    assert all(after[name] <= before[name] for name in before)


def test_without_a_water_crew_there_is_nobody_to_ask() -> None:
    document = tiny_problem(crews=tiny_problem()["crews"][1:])
    problem = Problem.from_json(document)
    assert duties(problem, greedy(problem), SUNDAYS) == []
