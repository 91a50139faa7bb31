"""Where one stint could start if everything else stayed: a mask of slots for each rule.

The masks say what `check` would say of the plan with that one stint moved, for all starts at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduling.solver.objective import Work, inside, work_of
from scheduling.solver.plan import Plan
from scheduling.solver.problem import DAY, Crew, Job, Problem, prep_slots, stint_len
from scheduling.solver.stage_masks import Masks, row_values, stage_masks

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
RULES = (
    "predecessor",
    "weather",
    "cure",
    "recoat",
    "quiet",
    "shift",
    "crew",
    "travel",
    "pump",
    "rig",
    "fill_window",
    "pin",
    "horizon",
)
MARGIN = 14 * DAY
FAR = 1 << 20


class Surroundings:
    """A plan in which single stints are looked at; built once, asked as often as one likes."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem, self.plan = problem, plan
        self.slots: IntArray = np.arange(problem.end, dtype=np.int64)
        self.works = work_of(problem, plan)
        self.of_job: dict[str, dict[str, Work]] = {job.id: {} for job in problem.jobs}
        self.of_crew: dict[str, list[Work]] = {crew.id: [] for crew in problem.crews}
        self._order = {id(work): at for at, work in enumerate(self.works)}
        for work in self.works:
            if work.stage not in self.of_job[work.job.id] or work.fixed:
                self.of_job[work.job.id][work.stage] = work
            self.of_crew[work.crew.id].append(work)
        for mine in self.of_crew.values():
            mine.sort(key=lambda work: (work.start, work.end))
        self._working: dict[tuple[str, str], IntArray] = {}
        self._shift_ends: dict[str, IntArray] = {}

    def work(self, job: str, stage: str) -> Work:
        """The stint of a job's stage; `ValueError` if the plan has none."""
        found = self.of_job.get(job, {}).get(stage)
        if found is None:
            raise ValueError(f"The stint is ({job!r}, {stage!r}), but must be one of the plan or a fixed stage.")
        return found

    def masks(self, job: str, stage: str, crew: str | None = None) -> Masks:
        """For every rule the starts that it allows, over all slots of the horizon [bool, (slots,)].

        `crew` puts the stint into other hands. Everything else stays where it is.
        """
        work = self.work(job, stage)
        hands = work.crew if crew is None else self.problem.crew_of[crew]
        ends = self.ends(work.job, stage, hands)
        masks: Masks = {rule: np.ones(len(self.slots), dtype=bool) for rule in RULES}
        self._alone(masks, work.job, stage, hands, ends)
        stage_masks(self.problem, self.of_job[job], work.job, stage, self.slots, ends, masks)
        self._crew(masks, work.job, hands, ends, work)
        self._rig(masks, stage, ends, work)
        self._pump(masks, work, ends)
        return masks

    def room(self, job: Job, stage: str, crew: Crew) -> tuple[BoolArray, IntArray]:
        """Starts at which a crew could take a stage that the plan has not, and their ends [slots].

        Rules between the stages of the job and the pumps are not looked at.
        """
        ends = self.ends(job, stage, crew)
        masks: Masks = {rule: np.ones(len(self.slots), dtype=bool) for rule in RULES}
        self._alone(masks, job, stage, crew, ends)
        self._crew(masks, job, crew, ends)
        self._rig(masks, stage, ends)
        return np.logical_and.reduce(list(masks.values())), ends

    def ends(self, job: Job, stage: str, crew: Crew) -> IntArray:
        """First slot after the stint for every start; a stint that can have no end is taken as one slot."""
        if stage == "prep":
            working, needed = self.working(job, crew), prep_slots(job, crew)
            at = np.searchsorted(working, self.slots) + needed - 1
            enough = (at < len(working)) & (needed > 0)
            last = working[np.minimum(at, len(working) - 1)] if len(working) else self.slots
            return np.where(enough, last + 1, self.slots + 1)
        if stage == "plaster":
            rows = [(row.first, row.last, row.len) for row in job.plaster_days]
            return self.slots + row_values(rows, self.slots, 1)
        return self.slots + stint_len(self.problem, job, stage)

    def working(self, job: Job, crew: Crew) -> IntArray:
        """Slots in which a crew makes headway with the prep of a job."""
        key = job.id, crew.id
        if key not in self._working:
            free = (self.shift_ends(crew) > self.slots) & ~self._quiet(job)[: self.problem.end]
            free &= ~self._spans(job.blocked.get("prep", ()))[: self.problem.end]
            self._working[key] = np.flatnonzero(free)
        return self._working[key]

    def shift_ends(self, crew: Crew) -> IntArray:
        """For every slot the end of the shift that it lies in; 0 outside all shifts."""
        if crew.id not in self._shift_ends:
            ends = np.zeros(len(self.slots), dtype=np.int64)
            for first, last in crew.shifts:
                ends[first:last] = last
            self._shift_ends[crew.id] = ends
        return self._shift_ends[crew.id]

    def _quiet(self, job: Job) -> BoolArray:
        day = np.array([inside(job.quiet, slot) for slot in range(DAY)], dtype=bool)
        return np.tile(day, self.problem.horizon_days + MARGIN // DAY)

    def _spans(self, spans: Iterable[tuple[int, int]]) -> BoolArray:
        marked = np.zeros(self.problem.end + MARGIN, dtype=bool)
        for first, last in spans:
            marked[max(first, 0) : max(last, 0)] = True
        return marked

    def _touches(self, marked: BoolArray | IntArray, starts: IntArray, ends: IntArray) -> BoolArray:
        """Tell for every stretch whether a marked slot lies in it."""
        before = np.concatenate(([0], np.cumsum(marked > 0)))
        low = np.clip(starts, 0, len(marked))
        high = np.clip(ends, 0, len(marked))
        touched: BoolArray = before[np.maximum(low, high)] > before[low]
        return touched

    def _alone(self, masks: Masks, job: Job, stage: str, crew: Crew, ends: IntArray) -> None:
        """Rules about the stint itself: skill, horizon, shift, quiet hours, weather."""
        problem, slots = self.problem, self.slots
        if problem.skill(stage) not in crew.skills:
            masks["crew"][:] = False
        masks["horizon"] &= (slots >= max(problem.now, job.earliest)) & (ends <= problem.end)
        shift_ends, quiet = self.shift_ends(crew), self._quiet(job)
        blocked = job.blocked.get(stage, ())
        if stage == "prep":
            working, needed = self.working(job, crew), prep_slots(job, crew)
            masks["horizon"] &= np.searchsorted(working, slots) + needed - 1 < len(working)
            masks["shift"] &= shift_ends > slots
            masks["quiet"] &= ~quiet[: len(slots)]
            masks["weather"] &= ~self._spans(blocked)[: len(slots)]
            return
        if stage == "bond_again":
            blocked += job.blocked.get("bond", ())
        masks["shift"] &= shift_ends >= ends
        masks["quiet"] &= ~self._touches(quiet, slots, ends)
        masks["weather"] &= ~self._touches(self._spans(blocked), slots, ends)
        self._rows(masks, job, stage, crew)

    def _rows(self, masks: Masks, job: Job, stage: str, crew: Crew) -> None:
        rows: list[tuple[int, int, int]] | None = None
        if stage in ("bond", "bond_again"):
            rows = [(row.first, row.last, 1) for row in job.bond_days]
        elif stage == "plaster":
            rows = [(row.first, row.last, 1) for row in job.plaster_days]
            people = [(row.first, row.last, row.people) for row in job.plaster_days]
            masks["crew"] &= row_values(people, self.slots, 0) <= crew.people
        elif stage == "fill_start" and job.fill_days is not None:
            rows = [(row.first, row.last, 1) for row in job.fill_days]
        if rows is not None:
            masks["weather"] &= row_values(rows, self.slots, 0) > 0

    def _crew(self, masks: Masks, job: Job, crew: Crew, ends: IntArray, work: Work | None = None) -> None:
        """One place at a time, and time on the road between two places on one day."""
        mine = self.of_crew[crew.id]
        others = [other for other in mine if other is not work]
        if not others:
            return
        busy = np.zeros(self.problem.end + MARGIN, dtype=np.int64)
        for other in others:
            busy[max(other.start, 0) : max(other.end, 0)] += 1
        masks["crew"] &= ~self._touches(busy, self.slots, ends)
        starts_of = np.array([other.start for other in others])
        ends_of = np.array([other.end for other in others])
        roads = np.array([self.problem.travel_slots(other.job.site, job.site) for other in others])
        order = np.array([self._order[id(other)] for other in others])
        own = len(self.works) if work is None else self._order[id(work)]
        place = np.searchsorted((starts_of * FAR + ends_of) * FAR + order, (self.slots * FAR + ends) * FAR + own)
        left, right = np.maximum(place - 1, 0), np.minimum(place, len(others) - 1)
        gap = self.slots - ends_of[left]
        same_day = (place > 0) & ((ends_of[left] - 1) // DAY == self.slots // DAY)
        masks["travel"] &= ~(same_day & (gap >= 0) & (gap < roads[left]))
        gap = starts_of[right] - ends
        same_day = (place < len(others)) & ((ends - 1) // DAY == starts_of[right] // DAY)
        masks["travel"] &= ~(same_day & (gap >= 0) & (gap < roads[right]))
        at = next((at for at, one in enumerate(mine) if one is work), 0)
        if 0 < at < len(mine) - 1 and self._too_near(mine[at - 1], mine[at + 1]):
            masks["travel"] &= place == at  # only this stint keeps the two beside it apart

    def _too_near(self, before: Work, after: Work) -> bool:
        if (before.fixed and after.fixed) or (before.end - 1) // DAY != after.start // DAY:
            return False
        road = self.problem.travel_slots(before.job.site, after.job.site)
        return before.end <= after.start < before.end + road

    def _rig(self, masks: Masks, stage: str, ends: IntArray, work: Work | None = None) -> None:
        if stage != "plaster":
            return
        taken = self._rigs.copy()
        if work is not None:
            taken[max(work.start, 0) : max(work.end, 0)] -= 1
        masks["rig"] &= ~self._touches(taken + 1 > self.problem.rigs, self.slots, ends)

    def full_pumps(self, job: str) -> BoolArray:
        """Slots at which no pump would be left for a job, its own drain not counted."""
        stages = self.of_job[job]
        setup = stages.get("drain_setup")
        taken = self._pumps.copy()
        if setup is not None:
            first, last = _hold(setup, stages.get("drain_pull"))
            if first < last:
                taken[max(first, 0) : max(last, 0)] -= 1
        full: BoolArray = taken + 1 > self.problem.pumps
        return full

    def _pump(self, masks: Masks, work: Work, ends: IntArray) -> None:
        stages = self.of_job[work.job.id]
        setup, pull = stages.get("drain_setup"), stages.get("drain_pull")
        if work.stage not in ("drain_setup", "drain_pull") or setup is None:
            return
        first, last = self.slots, ends + work.job.pump_len + work.job.drain_pull_len
        if work.stage == "drain_pull":
            first, last = np.full_like(ends, setup.start), ends
        elif pull is not None:
            last = np.full_like(ends, pull.end)
        masks["pump"] &= ~self._touches(self.full_pumps(work.job.id), first, last)

    @cached_property
    def _rigs(self) -> IntArray:
        taken = np.zeros(self.problem.end + MARGIN, dtype=np.int64)
        for work in self.works:
            if work.stage == "plaster":
                taken[max(work.start, 0) : max(work.end, 0)] += 1
        return taken

    @cached_property
    def _pumps(self) -> IntArray:
        taken = np.zeros(self.problem.end + MARGIN, dtype=np.int64)
        for stages in self.of_job.values():
            setup = stages.get("drain_setup")
            if setup is not None:
                first, last = _hold(setup, stages.get("drain_pull"))
                taken[max(first, 0) : max(last, first, 0)] += 1
        return taken


def _hold(setup: Work, pull: Work | None) -> tuple[int, int]:
    """From when to when a job holds a pump."""
    return setup.start, pull.end if pull else setup.end + setup.job.pump_len + setup.job.drain_pull_len
