"""An office's wall calendar: the stages of a job go where there is room, as early as they will go."""

from collections.abc import Iterable, Iterator, Sequence

from scheduling.solver.objective import Work, work_of
from scheduling.solver.plan import Plan, Stint
from scheduling.solver.problem import DAY, BondRow, Job, PlasterRow, Problem, stint_len
from scheduling.solver.timeline import Timeline, between, each, earliest, first_prep, starts_of

COMMON_SHARE = 0.7
PREP_TRIES = 3
TRIED_JOBS = 50


class Office:
    """Fills the timeline job by job.

    `common_share`: work that may be done at any hour keeps off the hours at which fewer crews than this share of
    the most are on shift, as long as it finds room in the others: evenings and Sundays are for the ends of fills.
    """

    def __init__(self, problem: Problem, kept: Plan | None = None, common_share: float = COMMON_SHARE) -> None:
        self.problem = problem
        self.line = Timeline(problem)
        self.common_share = common_share
        self.prep_tries = PREP_TRIES if len(problem.jobs) <= TRIED_JOBS else 1
        self._common: dict[int, int] = {}
        self.works: dict[str, dict[str, Work]] = {job.id: {} for job in problem.jobs}
        for work in work_of(problem, kept or Plan(())):
            self.works[work.job.id][work.stage] = work
            self.line.place(work)
        for stages in self.works.values():
            self._hold_pump(stages, 1)

    def plan(self) -> Plan:
        """The decisions taken so far; a job with a stage missing is left out."""
        stints, unplanned = [], []
        for job, stages in self.works.items():
            needed = [stage for stage in self.problem.stages if stage != "bond_again"]
            if all(stage in stages for stage in needed):
                stints += [Stint(job, s, w.crew.id, w.start) for s, w in stages.items() if not w.fixed]
            else:
                unplanned.append(job)
        return Plan(tuple(stints), tuple(unplanned))

    def plan_job(self, job: Job) -> bool:
        """Place the stages of a job that are not there yet, or leave everything as it was."""
        stages = self.works[job.id]
        before = dict(stages)
        self._hold_pump(stages, -1)
        done = self._drain(job) and self._dress(job)
        if not done:
            for stage in [stage for stage in stages if stage not in before]:
                self._take_out(job, stage)
        self._hold_pump(stages, 1)
        return done

    def lift(self, job: Job, *, startups_only: bool = False) -> list[Work]:
        """Take the decided stints of a job out (all, or those of the start-up); return them."""
        stages = self.works[job.id]
        self._hold_pump(stages, -1)
        startups = self.problem.startup_of
        taken = [work for work in stages.values() if not work.fixed and (work.stage in startups or not startups_only)]
        for work in taken:
            self._take_out(job, work.stage)
        self._hold_pump(stages, 1)
        return taken

    def lay(self, job: Job, works: Iterable[Work]) -> None:
        """Put back stints that were taken out."""
        stages = self.works[job.id]
        self._hold_pump(stages, -1)
        for work in works:
            self.line.place(work)
            stages[work.stage] = work
        self._hold_pump(stages, 1)

    def fill_day(self, job: Job) -> int | None:
        """The fill day F of a job; None while it is left out."""
        end = self.works[job.id].get("fill_end")
        return None if end is None else end.start // DAY

    def _hold_pump(self, stages: dict[str, Work], step: int) -> None:
        setup, pull = stages.get("drain_setup"), stages.get("drain_pull")
        if setup:
            end = pull.end if pull else setup.end + setup.job.pump_len + setup.job.drain_pull_len
            self.line.hold_pump(setup.start, min(end, self.problem.end), step)

    def _put(self, job: Job, stage: str, crew: int, start: int, end: int) -> Work:
        work = Work(job, stage, self.line.crews[crew], start, end, False, ())
        self.line.place(work)
        self.works[job.id][stage] = work
        return work

    def _take_out(self, job: Job, stage: str) -> None:
        self.line.remove(self.works[job.id].pop(stage))

    def _first_start(self, job: Job, stage: str, low: int, high: int) -> tuple[int, int] | None:
        """Earliest start in [low, high] of a stage of fixed length, and the nearest crew that can take it."""
        line, at = self.line, self.line.index[job.id]
        length = stint_len(self.problem, job, stage)
        for day in range(max(low, 0) // DAY, min(high, self.problem.end - 1) // DAY + 1):
            allowed = line.site_starts(at, stage, day, length, low, high) & self._rows(job, stage, day)
            if not allowed:
                continue
            common = 0 if stage == "fill_start" else allowed & starts_of(self._common_hours(day), length)
            found = (common and self._first_crew(day, length, at, common)) or self._first_crew(day, length, at, allowed)
            if found:
                return DAY * day + found[0], found[1]
        return None

    def _first_crew(self, day: int, length: int, at: int, allowed: int) -> tuple[int, int] | None:
        """Earliest start on a day of a stint of the water skill, and the nearest crew that can take it."""
        line, best = self.line, None
        for crew in line.nearest("water", at):
            if not line.shift_starts(crew, day, length) & allowed:
                continue
            starts = line.free_of(crew, day, length, at, allowed)
            if starts:
                best = earliest(starts), crew
                allowed &= (1 << best[0]) - 1
        return best

    def _common_hours(self, day: int) -> int:
        """Slots of a day at which many water crews are on shift."""
        known = self._common.get(day)
        if known is None:
            shifts = [span for crew in self.line.skilled["water"] for span in self.line.shifts_of[crew][day]]
            cover = [sum(first <= slot < last for first, last in shifts) for slot in range(DAY)]
            most = self.common_share * max(cover)
            known = sum(1 << slot for slot in range(DAY) if cover[slot] > most)
            self._common[day] = known
        return known

    def _rows(self, job: Job, stage: str, day: int) -> int:
        """Starts that the rows of the weather allow on a day."""
        if stage in ("bond", "bond_again"):
            return _union((row.first, row.last) for row in job.bond_days if row.day == day)
        if stage == "fill_start" and job.fill_days is not None:
            return _union((row.first, row.last) for row in job.fill_days if row.day == day)
        return (1 << DAY) - 1

    def _drain(self, job: Job) -> bool:
        stages, problem, line = self.works[job.id], self.problem, self.line
        setup, pull = stages.get("drain_setup"), stages.get("drain_pull")
        if setup and pull:
            return True
        low = setup.start if setup else problem.now
        latest = pull.start if pull else _dry_by(stages, problem.end) - job.drain_pull_len
        while True:
            first = (setup.start, -1) if setup else self._first_start(job, "drain_setup", low, latest)
            if first is None:
                return False
            dry = first[0] + (setup.end - setup.start if setup else job.drain_setup_len) + job.pump_len
            last = (pull.start, -1) if pull else self._first_start(job, "drain_pull", dry, latest)
            if last is None or (pull and dry > pull.start):
                return False
            full = line.last_full(line.pumps_held, problem.pumps, first[0], last[0] + job.drain_pull_len)
            if full is None:
                break
            if setup:
                return False
            low = full + 1
        if not setup:
            self._put(job, "drain_setup", first[1], first[0], first[0] + job.drain_setup_len)
        if not pull:
            self._put(job, "drain_pull", last[1], last[0], last[0] + job.drain_pull_len)
        return True

    def _dress(self, job: Job) -> bool:
        """Prep by the crew after which the pool is full first, and all that follows."""
        stages = self.works[job.id]
        if "prep" in stages:
            return self._finish(job)
        best: tuple[int, ...] | None = None
        chosen: list[Work] = []
        before = set(stages)
        for end, crew, start in self._preps(job)[: self.prep_tries]:
            if chosen and end // DAY > chosen[0].end // DAY + 3:
                break
            self._put(job, "prep", crew, start, end)
            if self._finish(job):
                rank = (stages["fill_end"].start // DAY, "plaster" in self.line.crews[crew].skills)
                if best is None or rank < best:
                    best, chosen = rank, [work for stage, work in stages.items() if stage not in before]
            for stage in [stage for stage in stages if stage not in before]:
                self._take_out(job, stage)
        for work in chosen:
            self.line.place(work)
            stages[work.stage] = work
        return bool(chosen)

    def _preps(self, job: Job) -> list[tuple[int, int, int]]:
        """The earliest prep of each crew as (end, crew, start), the first to be done first."""
        low = max(self.works[job.id]["drain_pull"].end, self.problem.now, job.earliest)
        found = []
        for crew in self.line.skilled["prep"]:
            span = first_prep(self.line, job, crew, low)
            if span:
                away = self.line.away_m(crew, self.line.index[job.id])
                found.append((span[1], away, crew, span[0]))
        return [(end, crew, start) for end, _, crew, start in sorted(found)]

    def _finish(self, job: Job) -> bool:
        """Plaster on the first day after which everything to the last start-up still goes."""
        stages, seen = self.works[job.id], Startups(self, job)
        if "plaster" in stages:
            plaster = stages["plaster"]
            row = next((row for row in job.plaster_days if row.first <= plaster.start <= row.last), None)
            return self._bond(job, plaster.start) and self._fill(job, row.wait if row else 0, seen)
        latest = self.problem.rules.fill_latest
        for row in sorted(job.plaster_days, key=lambda row: row.first):
            if row.last < stages["prep"].end:
                continue
            tried = 0  # Fills up to this slot have failed for an earlier start on this day.
            for crew, start in self._plaster_starts(job, row):
                before = set(stages)
                if not self._bond(job, start):
                    continue
                self._put(job, "plaster", crew, start, start + row.len)
                if self._fill(job, row.wait, seen, tried):
                    return True
                tried = start + row.len + latest + 1
                for stage in [stage for stage in stages if stage not in before]:
                    self._take_out(job, stage)
        return False

    def _plaster_starts(self, job: Job, row: PlasterRow) -> Iterator[tuple[int, int]]:
        """Crews and starts of a plaster day, the earliest start of the nearest crew first."""
        line, at = self.line, self.line.index[job.id]
        allowed = line.site_starts(at, "plaster", row.day, row.len, row.first, row.last)
        allowed &= ~_before(job.plaster_days, row)
        if not allowed:
            return
        allowed &= line.rig_starts(row.day, row.len)
        free = {
            crew: line.free_of(crew, row.day, row.len, at, allowed)
            for crew in line.skilled["plaster"]
            if line.crews[crew].people >= row.people
        }
        for start in each(allowed):
            crews = [crew for crew, starts in free.items() if starts >> start & 1]
            if crews:
                yield min(crews, key=lambda crew: line.away_m(crew, at)), DAY * row.day + start

    def _bond(self, job: Job, plaster: int) -> bool:
        """Place the bond coat early, but young enough for the plaster.

        One that is on already and has outlived its recoat age takes a second one where the rules know it.
        """
        stages, rules = self.works[job.id], self.problem.rules
        if "bond" not in stages:
            return self._coat(job, "bond", stages["prep"].end, plaster)
        if "plaster" in stages and stages["plaster"].fixed and stages["bond"].fixed:
            return True
        last = stages.get("bond_again", stages["bond"])
        row = next((row for row in job.bond_days if row.first <= last.start <= row.last), None)
        if plaster - last.end > rules.recoat_max and rules.second_bond and "bond_again" not in stages:
            return self._coat(job, "bond_again", stages["bond"].end, plaster)
        return (row.cure if row else 0) <= plaster - last.end <= rules.recoat_max

    def _coat(self, job: Job, stage: str, after: int, plaster: int) -> bool:
        """Place a bond coat as early as its greatest age at the plaster allows, so that it breaks up no free days.

        A second one goes on as late as its cure allows: the weather has outlived one already.
        """
        line, at = self.line, self.line.index[job.id]
        rows = [row for row in job.bond_days if row.last + job.bond_len + row.cure >= 0]
        prepared = self.works[job.id].get("prep")
        late = stage == "bond_again"
        for row in sorted(rows, key=lambda row: -row.first if late else row.first):
            low = max(row.first, after, plaster - self.problem.rules.recoat_max - job.bond_len)
            high = min(row.last, plaster - row.cure - job.bond_len)
            if low > high:
                continue
            allowed = line.site_starts(at, stage, row.day, job.bond_len, low, high) & ~_before(job.bond_days, row)
            found = [
                (earliest(starts), line.crews[crew] is not (prepared and prepared.crew), line.away_m(crew, at), crew)
                for crew in (line.skilled["prep"] if allowed else ())
                if (starts := line.free_of(crew, row.day, job.bond_len, at, allowed))
            ]
            if found:
                start, _, _, crew = min(found)
                self._put(job, stage, crew, DAY * row.day + start, DAY * row.day + start + job.bond_len)
                return True
        return False

    def _fill(self, job: Job, wait: int, seen: "Startups", tried: int = 0) -> bool:
        stages, rules = self.works[job.id], self.problem.rules
        plaster = stages["plaster"]
        for start, crew in self._fill_starts(job, max(tried, plaster.end + wait), plaster.end + rules.fill_latest):
            placed = set(stages)
            if "fill_start" not in stages:
                self._put(job, "fill_start", crew, start, start + job.fill_start_len)
            if self._fill_end(job, seen):
                return True
            for stage in [stage for stage in stages if stage not in placed]:
                self._take_out(job, stage)
        return False

    def _fill_starts(self, job: Job, low: int, high: int) -> Iterator[tuple[int, int]]:
        fixed = self.works[job.id].get("fill_start")
        if fixed:
            if low <= fixed.start <= high or (fixed.fixed and self.works[job.id]["plaster"].fixed):
                yield fixed.start, -1
            return
        while found := self._first_start(job, "fill_start", low, high):
            yield found
            low = found[0] + 1

    def _fill_end(self, job: Job, seen: "Startups") -> bool:
        stages, rules = self.works[job.id], self.problem.rules
        full = stages["fill_start"].end + job.fill_len
        low = max(full - rules.fill_end_early, stages["fill_start"].end)
        high = full + rules.fill_end_late
        while True:
            fixed = stages.get("fill_end")
            found = (fixed.start, -1) if fixed else self._first_start(job, "fill_end", low, high)
            settled = fixed is not None and fixed.fixed and stages["fill_start"].fixed
            if found is None or not (settled or low <= found[0] <= high):
                return False
            day = found[0] // DAY
            if seen.possible(day):
                if not fixed:
                    self._put(job, "fill_end", found[1], found[0], found[0] + job.fill_end_len)
                if seen.place(day):
                    return True
                if not fixed:
                    self._take_out(job, "fill_end")
            if fixed:
                return False
            low = DAY * (day + 1)


class Startups:
    """The attendances of the first month of one job, remembered for the fill days already tried."""

    def __init__(self, office: Office, job: Job) -> None:
        self.office = office
        self.job = job
        self.known: dict[int, bool] = {}
        startups = office.problem.rules.startup
        self.order = sorted(range(len(startups)), key=lambda at: startups[at].day + startups[at].tol)

    def possible(self, day: int) -> bool:
        """Tell whether each attendance alone has a crew when the pool is full on `day`."""
        if day not in self.known:
            self.known[day] = all(self._find(day, at) for at in self.order)
        return self.known[day]

    def place(self, day: int) -> bool:
        """Place all attendances, the first due first, or none."""
        placed: list[str] = []
        for at in self.order:
            startup = self.office.problem.rules.startup[at]
            found = self._find(day, at)
            if not found:
                for stage in placed:
                    self.office._take_out(self.job, stage)
                return False
            if startup.stage not in self.office.works[self.job.id]:
                self.office._put(self.job, startup.stage, found[1], found[0], found[0] + startup.len)
                placed.append(startup.stage)
        return True

    def _find(self, day: int, at: int) -> tuple[int, int] | None:
        startup = self.office.problem.rules.startup[at]
        fixed = self.office.works[self.job.id].get(startup.stage)
        low, high = DAY * (day + startup.day - startup.tol), DAY * (day + startup.day + startup.tol + 1) - 1
        if fixed:
            end = self.office.works[self.job.id].get("fill_end")
            settled = fixed.fixed and end is not None and end.fixed
            return (fixed.start, -1) if settled or low <= fixed.start <= high else None
        return self.office._first_start(self.job, startup.stage, low, high)


def _dry_by(stages: dict[str, Work], end: int) -> int:
    """Slot by which the pump is pulled: where the first stage after the drain is that has its place already."""
    return min((work.start for stage, work in stages.items() if not stage.startswith("drain")), default=end)


def _before(rows: Sequence[BondRow] | Sequence[PlasterRow], row: BondRow | PlasterRow) -> int:
    """Starts on the day of a row to which a row that stands before it applies."""
    return _union((other.first, other.last) for other in rows[: rows.index(row)] if other.day == row.day)


def _union(rows: Iterable[tuple[int, int]]) -> int:
    starts = 0
    for first, last in rows:
        starts |= between(first % DAY, last % DAY + 1)
    return starts
