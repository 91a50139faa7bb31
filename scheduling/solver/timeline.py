"""Timelines of crews, pumps and rigs: which starts of a stint are still free on a day.

A set of starts on one day is a whole number whose bit s (0 to 47) stands for slot s of that day.
"""

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from functools import cached_property

from scheduling.solver.objective import Work, inside
from scheduling.solver.problem import DAY, Crew, Job, Problem, Span, metres, prep_slots

WHOLE_DAY = (1 << DAY) - 1
Busy = tuple[int, int, int]


def between(first: int, last: int) -> int:
    """The slots of a day from `first` to `last`, `last` not included, cut to the day."""
    first, last = max(first, 0), min(last, DAY)
    return (1 << last) - (1 << first) if first < last else 0


def starts_of(free: int, length: int) -> int:
    """Starts of a stint of `length` slots that lies in free slots only."""
    starts, done = free, 1
    while done < length:
        step = min(done, length - done)
        starts &= starts >> step
        done += step
    return starts


def earliest(starts: int) -> int:
    """The first start of a set that is not empty."""
    return (starts & -starts).bit_length() - 1


def each(starts: int) -> Iterator[int]:
    """The starts of a set, ascending."""
    while starts:
        lowest = starts & -starts
        yield lowest.bit_length() - 1
        starts ^= lowest


class Timeline:
    """What every crew, the pumps and the rigs are busy with; crews and jobs are known by their index."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.crews: Sequence[Crew] = problem.crews
        self.jobs: Sequence[Job] = problem.jobs
        self.index = {job.id: at for at, job in enumerate(problem.jobs)}
        self.crew_index = {crew.id: at for at, crew in enumerate(problem.crews)}
        self.busy: list[list[list[Busy]]] = [[[] for _ in range(problem.horizon_days)] for _ in problem.crews]
        self.taken: list[list[int]] = [[0] * problem.horizon_days for _ in problem.crews]
        self.pumps_held = [0] * problem.end
        self.rigs_held = [0] * problem.end
        self._shift_starts: dict[tuple[int, int, int], int] = {}
        self._site_starts: dict[tuple[tuple[Span, ...], int], int] = {}
        self._roads: dict[tuple[int, int], int] = {}
        self._away: dict[tuple[int, int], int] = {}
        self._nearest: dict[tuple[str, int], list[int]] = {}
        self._working: dict[tuple[int, tuple[Span, ...], tuple[Span, ...]], list[int]] = {}

    @cached_property
    def skilled(self) -> dict[str, list[int]]:
        """Crews by skill."""
        return {
            skill: [at for at, crew in enumerate(self.crews) if skill in crew.skills]
            for skill in ("water", "prep", "plaster")
        }

    @cached_property
    def shifts_of(self) -> list[list[list[Span]]]:
        """Shifts by crew and day."""
        found: list[list[list[Span]]] = [[[] for _ in range(self.problem.horizon_days)] for _ in self.crews]
        for at, crew in enumerate(self.crews):
            for first, last in crew.shifts:
                day = first // DAY
                found[at][day].append((first - DAY * day, last - DAY * day))
        return found

    def road(self, here: int, there: int) -> int:
        """Slots on the road between the sites of two jobs."""
        key = here, there
        slots = self._roads.get(key)
        if slots is None:
            slots = self.problem.travel_slots(self.jobs[here].site, self.jobs[there].site)
            self._roads[key] = slots
        return slots

    def away_m(self, crew: int, job: int) -> int:
        """Metres from the base of a crew to a site."""
        key = crew, job
        found = self._away.get(key)
        if found is None:
            found = self._away[key] = metres(self.crews[crew].base, self.jobs[job].site)
        return found

    def nearest(self, skill: str, job: int) -> list[int]:
        """Crews of a skill, the one whose base is nearest to a site first."""
        key = skill, job
        crews = self._nearest.get(key)
        if crews is None:
            crews = sorted(self.skilled[skill], key=lambda crew: (self.away_m(crew, job), crew))
            self._nearest[key] = crews
        return crews

    def shift_starts(self, crew: int, day: int, length: int) -> int:
        """Starts of a stint that lies inside one shift."""
        key = crew, day, length
        starts = self._shift_starts.get(key)
        if starts is None:
            starts = 0
            for first, last in self.shifts_of[crew][day]:
                starts |= between(first, last - length + 1)
            self._shift_starts[key] = starts
        return starts

    def road_blocks(self, crew: int, day: int, length: int, job: int) -> int:
        """Starts at which the crew would be busy, or on the road to or from another stint of the day."""
        blocked = 0
        for start, end, other in self.busy[crew][day]:
            road = self._roads.get((other, job))
            if road is None:
                road = self.road(other, job)
            first, last = start - length - road + 1, end + road
            blocked |= (1 << (last if last < DAY else DAY)) - (1 << (first if first > 0 else 0))
        return blocked

    def free(self, crew: int, day: int, length: int, job: int) -> int:
        """Starts of a stint that the crew can take on a day: shift, other stints and roads are kept."""
        return self.free_of(crew, day, length, job, WHOLE_DAY)

    def free_of(self, crew: int, day: int, length: int, job: int, asked: int) -> int:
        """Starts out of those asked that the crew can take; quick where the day is full without the roads."""
        starts = self.shift_starts(crew, day, length) & asked
        if starts and self.busy[crew][day]:
            starts &= starts_of(WHOLE_DAY ^ self.taken[crew][day], length)
            if starts:
                starts &= ~self.road_blocks(crew, day, length, job)
        return starts

    def quiet_starts(self, job: int, length: int) -> int:
        """Starts of a stint that keeps the quiet hours of the site, the same on every day."""
        quiet = self.jobs[job].quiet
        key = quiet, length
        starts = self._site_starts.get(key)
        if starts is None:
            free = WHOLE_DAY
            for first, last in quiet:
                free &= ~between(first, last)
            starts = starts_of(free, length)
            self._site_starts[key] = starts
        return starts

    def unblocked_starts(self, job: int, stage: str, day: int, length: int) -> int:
        """Starts of a stint that touches no slot blocked for its stage."""
        starts = WHOLE_DAY
        for first, last in self.jobs[job].blocked.get(stage, ()):
            starts &= ~between(first - DAY * day - length + 1, last - DAY * day)
        return starts

    def site_starts(self, job: int, stage: str, day: int, length: int, low: int, high: int) -> int:
        """Starts in [low, high] that the site allows: quiet hours, blocked slots, now, earliest, horizon."""
        record = self.jobs[job]
        low = max(low, self.problem.now, record.earliest) - DAY * day
        high = min(high, self.problem.end - length) - DAY * day
        starts = self.quiet_starts(job, length) & between(low, high + 1)
        if record.blocked and stage in record.blocked:
            starts &= self.unblocked_starts(job, stage, day, length)
        return starts

    def working(self, crew: int, job: int) -> list[int]:
        """Working slots of a crew for the prep of a job."""
        record = self.jobs[job]
        blocked = record.blocked.get("prep", ())
        key = crew, record.quiet, blocked
        slots = self._working.get(key)
        if slots is None:
            slots = [
                slot
                for first, last in self.crews[crew].shifts
                for slot in range(first, last)
                if not inside(record.quiet, slot % DAY) and not inside(blocked, slot)
            ]
            self._working[key] = slots
        return slots

    def prep_conflict(self, crew: int, job: int, start: int, end: int) -> int | None:
        """Latest end (with the road) of a stint that a prep from `start` to `end` would meet; None if it is free."""
        latest = None
        for day in range((end - 1) // DAY, start // DAY - 1, -1):
            offset = DAY * day
            for first, last, other in self.busy[crew][day]:
                road = self.road(other, job)
                if offset + last + road <= start or offset + first - road >= end:
                    continue
                free = offset + last + (road if last < DAY else 0)
                latest = free if latest is None or free > latest else latest
            if latest is not None:
                break
        return latest

    def place(self, work: Work) -> None:
        """Make the crew (and its rig) busy with a stint."""
        self._mark(work, 1)

    def remove(self, work: Work) -> None:
        """Take a stint that was placed out again."""
        self._mark(work, -1)

    def _mark(self, work: Work, step: int) -> None:
        job, crew = self.index[work.job.id], self.crew_index[work.crew.id]
        for day in range(max(work.start, 0) // DAY, (work.end - 1) // DAY + 1):
            entry = (max(work.start - DAY * day, 0), min(work.end - DAY * day, DAY), job)
            entries = self.busy[crew][day]
            if step > 0:
                entries.append(entry)
            else:
                entries.remove(entry)
            self.taken[crew][day] = 0
            for first, last, _ in entries:
                self.taken[crew][day] |= (1 << last) - (1 << first)
        if work.stage == "plaster":
            for slot in range(max(work.start, 0), work.end):
                self.rigs_held[slot] += step

    def hold_pump(self, start: int, end: int, step: int = 1) -> None:
        """Take a pump from `start` to `end` (or give it back: step -1)."""
        for slot in range(max(start, 0), end):
            self.pumps_held[slot] += step

    def last_full(self, held: Sequence[int], limit: int, start: int, end: int) -> int | None:
        """The last slot of [start, end) at which all pumps or rigs are taken; None if there is none."""
        for slot in range(min(end, self.problem.end) - 1, max(start, 0) - 1, -1):
            if held[slot] >= limit:
                return slot
        return None

    def rig_starts(self, day: int, length: int) -> int:
        """Starts of a plaster stint on a day with a rig free for all its length."""
        free = 0
        for slot, held in enumerate(self.rigs_held[DAY * day : DAY * day + DAY]):
            if held < self.problem.rigs:
                free |= 1 << slot
        return starts_of(free, length)


def first_prep(line: Timeline, job: Job, crew: int, low: int) -> tuple[int, int] | None:
    """Earliest prep of a job by a crew from slot `low` on: its start and end."""
    at = line.index[job.id]
    slots = line.working(crew, at)
    needed = prep_slots(job, line.crews[crew])
    first = bisect_left(slots, low)
    while first + needed <= len(slots):
        start, end = slots[first], slots[first + needed - 1] + 1
        conflict = line.prep_conflict(crew, at, start, end)
        if conflict is None:
            return start, end
        first = bisect_left(slots, conflict, first + 1)
    return None
