"""Every plan of a few tiny pools, tried one after the other: what the planner must find, and never undercut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product

from tests.solver.naive import DAY, ORDER, Document, Done, Naive

Stages = dict[str, Done]


# Earlier stages on which the choices for a stage depend; those of a start-up depend on all of them.
MATTERS = {
    "drain_setup": (),
    "drain_pull": ("drain_setup",),
    "prep": ("drain_pull",),
    "bond": ("prep",),
    "bond_again": ("bond",),
    "plaster": ("bond", "bond_again"),
    "fill_start": ("plaster",),
    "fill_end": ("fill_start",),
}


def can_be_planned(document: Document, job: str) -> bool:
    """Tell whether any plan at all has all stages of a job, with every other job left out."""
    return next(plans_alone(document, job), None) is not None


def plans_alone(document: Document, job: str, crews: Sequence[str] | None = None) -> Iterator[list[Done]]:
    """All legal plans of one job without the others, as their decided stints."""
    return _Tree(document, job, crews).grow(0, {})


class _Tree:
    """Stage after stage, every crew and every slot."""

    def __init__(self, document: Document, job: str, crews: Sequence[str] | None) -> None:
        alone = document | {"jobs": [record for record in document["jobs"] if record["id"] == job]}
        self.naive = Naive(alone)
        self.job = job
        self.crews = list(self.naive.crews) if crews is None else list(crews)
        self.done = {work.stage: work for work in self.naive.works({"stints": []})}
        again = ["bond_again"] if document["rules"].get("second_bond") else []
        startups = [stage for stage in self.naive.needed if stage not in ORDER]
        self.order = [*ORDER[:4], *again, *ORDER[4:], *startups]
        self.dead: set[tuple[object, ...]] = set()

    def grow(self, at: int, stages: Stages) -> Iterator[list[Done]]:
        """All ways to go on from the stages before the one numbered `at`."""
        if at == len(self.order):
            if not self.naive.pumps_break({self.job: stages}) and not self.naive.rigs_break(list(stages.values())):
                yield [work for work in stages.values() if not work.fixed]
            return
        key = (at, *(stages.get(name) for name in MATTERS.get(self.order[at], stages)))
        if key in self.dead:
            return
        found = False
        for work in self.choices(self.order[at], stages):
            wider = stages if work is None else stages | {work.stage: work}
            if self.legal(work, wider):
                for plan in self.grow(at + 1, wider):
                    found = True
                    yield plan
        if not found:
            self.dead.add(key)

    def choices(self, stage: str, stages: Stages) -> Iterator[Done | None]:
        if stage in self.done:
            yield self.done[stage]
            return
        if stage == "bond_again":
            yield None
        before = max((work.end for name, work in stages.items() if name in ORDER[:5]), default=0)
        if stage == "fill_end" or stage not in (*ORDER, "bond_again"):
            before = 0
        for crew in self.crews:
            if self.naive.skill(stage) not in self.naive.crews[crew]["skills"]:
                continue
            for start in sorted(slot for slot in self.naive.on_shift[crew] if slot >= before):
                end = self.naive.end_of(self.job, stage, crew, start)
                if end is not None:
                    yield Done(self.job, stage, crew, start, end, False)

    def legal(self, work: Done | None, stages: Stages) -> bool:
        """Tell whether the newest stage breaks nothing beside the others."""
        naive = self.naive
        if work is not None and not work.fixed and naive.alone(work):
            return False
        newest = naive.together(self.job, stages)
        return not newest and not naive.crews_break(list(stages.values()))


def cheapest(document: Document, jobs: Sequence[str], crews: Sequence[str] | None = None) -> int:
    """Least objective of a few jobs, every combination of their plans tried; other jobs are not counted.

    A job that is left out or fixed beforehand counts too.  The sum of what jobs cost without travel bounds the search.
    """
    part = document | {"jobs": [record for record in document["jobs"] if record["id"] in jobs]}
    naive = Naive(part)
    ways = [_ways(naive, part, job, crews) for job in jobs]
    best: int | None = None
    for least, groups in _by_sum(ways):
        if best is not None and least >= best:
            break
        for chosen in product(*groups):
            cost = _cost(naive, jobs, chosen)
            if cost is not None and (best is None or cost < best):
                best = cost
    assert best is not None
    return best


def _by_sum(ways: list[dict[int, list[list[Done] | None]]]) -> list[tuple[int, list[list[list[Done] | None]]]]:
    sums = [
        (sum(levels), [ways_of[level] for ways_of, level in zip(ways, levels, strict=True)])
        for levels in product(*ways)
    ]
    return sorted(sums, key=lambda pair: pair[0])


def _ways(
    naive: Naive, document: Document, job: str, crews: Sequence[str] | None
) -> dict[int, list[list[Done] | None]]:
    """Plans of a job (None: left out) by what it costs without travel and moves."""
    weights, record = naive.problem["weights"], naive.jobs[job]
    found: dict[int, list[list[Done] | None]] = {}

    def cost(day: int) -> int:
        late = 0 if record["promise_day"] is None else max(0, day - record["promise_day"])
        return int(weights["fill_day"] * day + weights["late_day"] * record["weight"] * late)

    days = naive.problem["horizon_days"]
    found[weights["unplanned"] + cost(days)] = [None]
    for plan in plans_alone(document, job, crews):
        day = next(work.start // DAY for work in plan if work.stage == "fill_end")
        found.setdefault(cost(day), []).append(plan)
    return found


def _cost(naive: Naive, jobs: Sequence[str], chosen: Sequence[list[Done] | None]) -> int | None:
    """Objective of a combination; None if it breaks a rule."""
    works = [work for plan in chosen for work in plan or ()] + naive.works({"stints": []})
    if naive.crews_break(works) or naive.rigs_break(works):
        return None
    of_job: dict[str, Stages] = {job: {} for job in jobs}
    for work in works:
        of_job[work.job][work.stage] = work
    if naive.pumps_break(of_job):
        return None
    stints = [
        {"job": work.job, "stage": work.stage, "crew": work.crew, "start": work.start}
        for work in works
        if not work.fixed
    ]
    out = [job for job, plan in zip(jobs, chosen, strict=True) if plan is None]
    terms = naive.costs({"stints": stints, "unplanned": out})
    return sum(terms[name] for name in ("late", "fill", "travel", "unplanned", "moves"))
