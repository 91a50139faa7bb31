"""The rules of a plan once more, slot by slot and without any code of the planner, to hold `check` against.

Written for plainness, not speed: every crew, pump and rig is a count for each slot.  Problems and plans are the
plain documents.
"""

from __future__ import annotations

from collections import Counter
from itertools import combinations, pairwise
from math import isqrt
from typing import Any, NamedTuple

DAY = 48
ORDER = ("drain_setup", "drain_pull", "prep", "bond", "plaster", "fill_start", "fill_end")
SKILLS = {"prep": "prep", "bond": "prep", "bond_again": "prep", "plaster": "plaster"}
Document = dict[str, Any]


class Done(NamedTuple):
    """A stint with its end."""

    job: str
    stage: str
    crew: str
    start: int
    end: int
    fixed: bool


class Naive:
    """One problem, unfolded into slots."""

    def __init__(self, problem: Document) -> None:
        self.problem = problem
        self.end = DAY * problem["horizon_days"]
        self.rules = problem["rules"]
        self.jobs = {job["id"]: job for job in problem["jobs"]}
        self.crews = {crew["id"]: crew for crew in problem["crews"]}
        self.on_shift = {
            name: {slot for first, last in crew["shifts"] for slot in range(first, last)}
            for name, crew in self.crews.items()
        }
        self.quiet = {
            name: {slot for first, last in job.get("quiet", []) for slot in range(first, last)}
            for name, job in self.jobs.items()
        }
        startups = [f"startup_{row['day']}" for row in self.rules["startup"]]
        self.needed = [*ORDER, *startups]
        self.stages = {*self.needed, *(["bond_again"] if self.rules.get("second_bond") else [])}
        self.length = {f"startup_{row['day']}": row["len"] for row in self.rules["startup"]}

    # One stint

    def skill(self, stage: str) -> str:
        return SKILLS.get(stage, "water")

    def blocked(self, job: str, stage: str, slot: int) -> bool:
        names = ("bond", "bond_again") if stage == "bond_again" else (stage,)
        blocks = [span for name in names for span in self.jobs[job].get("blocked", {}).get(name, [])]
        return any(first <= slot < last for first, last in blocks)

    def works_at(self, job: str, crew: str, slot: int) -> bool:
        """A slot in which a crew makes headway with the prep of a job."""
        free = slot in self.on_shift[crew] and slot % DAY not in self.quiet[job]
        return free and not self.blocked(job, "prep", slot)

    def row(self, job: str, field: str, start: int) -> list[int] | None:
        for row in self.jobs[job][field]:
            if row[1] <= start <= row[2]:
                found: list[int] = row
                return found
        return None

    def end_of(self, job: str, stage: str, crew: str, start: int) -> int | None:
        record = self.jobs[job]
        if stage == "prep":
            left = -(-record["prep_work"] // self.crews[crew]["people"])
            for slot in range(max(start, 0), self.end):
                left -= self.works_at(job, crew, slot)
                if left == 0:
                    return slot + 1
            return None
        if stage == "plaster":
            row = self.row(job, "plaster_days", start)
            return start + row[3] if row else None
        length: int = self.length[stage] if stage in self.length else record[stage.removesuffix("_again") + "_len"]
        return start + length

    def alone(self, done: Done) -> set[str]:
        """Rules that a decided stint breaks by itself."""
        job, crew = self.jobs[done.job], self.crews[done.crew]
        slots = range(done.start, done.end)
        broken = set()
        if self.skill(done.stage) not in crew["skills"]:
            broken.add("crew")
        if done.start < self.problem["now"] or done.start < job["earliest"] or done.end > self.end:
            broken.add("horizon")
        if done.stage == "prep":
            if self.end_of(done.job, "prep", done.crew, done.start) is None:
                broken.add("horizon")
            slots = range(done.start, done.start + 1)
        if not any(first <= slots[0] and slots[-1] < last for first, last in crew["shifts"]):
            broken.add("shift")
        if any(slot % DAY in self.quiet[done.job] for slot in slots):
            broken.add("quiet")
        if any(self.blocked(done.job, done.stage, slot) for slot in slots):
            broken.add("weather")
        if done.stage in ("bond", "bond_again") and not self.row(done.job, "bond_days", done.start):
            broken.add("weather")
        rows_bind = done.stage == "fill_start" and job.get("fill_days") is not None
        if rows_bind and not self.row(done.job, "fill_days", done.start):
            broken.add("weather")
        if done.stage == "plaster":
            row = self.row(done.job, "plaster_days", done.start)
            if row is None:
                broken.add("weather")
            elif len(row) == 6 and crew["people"] < row[5]:
                broken.add("crew")
        return broken

    # One job

    def together(self, job: str, stages: dict[str, Done]) -> set[str]:
        """Rules between the stages of one job that are there; between two fixed ones there is none."""
        record, rules = self.jobs[job], self.rules
        broken = set()

        def both(before: str, after: str) -> bool:
            there = before in stages and after in stages
            return there and not (stages[before].fixed and stages[after].fixed)

        for before, after in (*pairwise(ORDER), ("bond", "bond_again")):
            pause = record["pump_len"] if before == "drain_setup" else 0
            if both(before, after) and stages[after].start < stages[before].end + pause:
                broken.add("predecessor")
        for bond in ("bond", "bond_again"):
            if both(bond, "plaster"):
                row = self.row(job, "bond_days", stages[bond].start)
                if stages["plaster"].start < stages[bond].end + (row[3] if row else 0):
                    broken.add("cure")
        broken |= self.recoat(stages)
        if both("plaster", "fill_start"):
            row = self.row(job, "plaster_days", stages["plaster"].start)
            age = stages["fill_start"].start - stages["plaster"].end
            if age < (row[4] if row else 0):
                broken.add("cure")
            if age > rules["fill_latest"]:
                broken.add("fill_window")
        if both("fill_start", "fill_end"):
            full = stages["fill_start"].end + record["fill_len"]
            if not full - rules["fill_end_early"] <= stages["fill_end"].start <= full + rules["fill_end_late"]:
                broken.add("fill_window")
        for row in rules["startup"]:
            name = f"startup_{row['day']}"
            if both("fill_end", name):
                after = stages[name].start // DAY - stages["fill_end"].start // DAY
                if not row["day"] - row["tol"] <= after <= row["day"] + row["tol"]:
                    broken.add("fill_window")
        return broken

    def recoat(self, stages: dict[str, Done]) -> set[str]:
        """A second bond coat exactly when the first is too old, and then it is the second that must be young."""
        if "bond" not in stages or "plaster" not in stages:
            return set()
        plaster, limit = stages["plaster"], self.rules["recoat_max"]
        old = plaster.start - stages["bond"].end > limit
        again = stages.get("bond_again")
        if again is not None and not again.fixed and not old:
            return {"recoat"}
        last = again or stages["bond"]
        return {"recoat"} if plaster.start - last.end > limit and not (plaster.fixed and last.fixed) else set()

    # Everybody

    def crews_break(self, works: list[Done]) -> set[str]:
        broken = set()
        for crew in {done.crew for done in works}:
            mine = sorted((done for done in works if done.crew == crew), key=lambda done: (done.start, done.end))
            for one, other in combinations(mine, 2):
                apart = one.end <= other.start or other.end <= one.start
                if not apart and not (one.fixed and other.fixed):
                    broken.add("crew")
            for one, other in pairwise(mine):
                same_day = (one.end - 1) // DAY == other.start // DAY
                road = self.road(one.job, other.job)
                if same_day and one.end <= other.start < one.end + road and not (one.fixed and other.fixed):
                    broken.add("travel")
        return broken

    def road(self, here: str, there: str) -> int:
        """Slots on the road: the least number of half hours in which fixed time and way fit."""
        a, b = self.jobs[here]["site"], self.jobs[there]["site"]
        if a == b:
            return 0
        speed, fixed = self.problem["travel"]["speed_m_per_min"], self.problem["travel"]["fixed_min"]
        slots = 0
        while slots * 30 * speed < fixed * speed + metres(a, b):
            slots += 1
        return slots

    def pumps_break(self, works: dict[str, dict[str, Done]]) -> bool:
        held: Counter[int] = Counter()
        decided: set[int] = set()
        for job, stages in works.items():
            setup, pull = stages.get("drain_setup"), stages.get("drain_pull")
            if setup is None:
                continue
            record = self.jobs[job]
            end = pull.end if pull else setup.end + record["pump_len"] + record["drain_pull_len"]
            held.update(range(setup.start, end))
            if not (setup.fixed and (pull is None or pull.fixed)):
                decided.update(range(setup.start, end))
        return any(held[slot] > self.problem["pumps"] for slot in decided)

    def rigs_break(self, works: list[Done]) -> bool:
        plaster = [done for done in works if done.stage == "plaster"]
        held = Counter(slot for done in plaster for slot in range(done.start, done.end))
        decided = {slot for done in plaster if not done.fixed for slot in range(done.start, done.end)}
        return any(held[slot] > self.problem["rigs"] for slot in decided)

    def works(self, plan: Document) -> list[Done]:
        """Fixed and decided stints with their ends; one that can have no end is taken as one slot."""
        found = [
            Done(name, row["stage"], row["crew"], row["start"], row["end"], True)
            for name, job in self.jobs.items()
            for row in job.get("fixed", [])
        ]
        for row in plan["stints"]:
            end = self.end_of(row["job"], row["stage"], row["crew"], row["start"]) or row["start"] + 1
            found.append(Done(row["job"], row["stage"], row["crew"], row["start"], end, False))
        return found

    def broken(self, plan: Document) -> set[str]:
        """Names of all broken rules of a plan whose jobs, stages and crews are known."""
        broken = set()
        works = self.works(plan)
        of_job: dict[str, dict[str, Done]] = {name: {} for name in self.jobs}
        for done in works:
            if done.stage in of_job[done.job]:
                broken.add("pin" if of_job[done.job][done.stage].fixed else "predecessor")
            else:
                of_job[done.job][done.stage] = done
        for name, stages in of_job.items():
            if name in plan["unplanned"]:
                broken |= {"predecessor" for done in stages.values() if not done.fixed}
                broken |= {"pin"} if all(stage in stages and stages[stage].fixed for stage in ORDER) else set()
                continue
            broken |= {"predecessor" for stage in self.needed if stage not in stages}
            broken |= self.together(name, stages)
        for done in works:
            broken |= set() if done.fixed else self.alone(done)
        broken |= self.crews_break(works)
        broken |= {"pump"} if self.pumps_break(of_job) else set()
        return broken | ({"rig"} if self.rigs_break(works) else set())

    # What it costs

    def costs(self, plan: Document) -> dict[str, int]:
        """The terms of the objective and the metres driven."""
        weights, works = self.problem["weights"], self.works(plan)
        full = {done.job: done.start // DAY for done in works if done.stage == "fill_end"}
        late = fill = unplanned = 0
        for name, job in self.jobs.items():
            out = name in plan["unplanned"]
            day = self.problem["horizon_days"] if out else full[name]
            if job["promise_day"] is not None and day > job["promise_day"]:
                late += weights["late_day"] * job["weight"] * (day - job["promise_day"])
            if out:
                unplanned += weights["unplanned"] + weights["fill_day"] * day
            else:
                fill += weights["fill_day"] * day
        travel_m = self.driven_m(works)
        moves = self.moves(plan)
        return {
            "late": late,
            "fill": fill,
            "travel": weights["travel_km"] * travel_m // 1000,
            "unplanned": unplanned,
            "moves": sum(moves),
            "stints_moved": len(moves),
            "travel_m": travel_m,
        }

    def driven_m(self, works: list[Done]) -> int:
        total = 0
        for name, crew in self.crews.items():
            mine = sorted((done for done in works if done.crew == name), key=lambda done: done.start)
            for day in range(self.problem["horizon_days"]):
                stops = [crew["base"]]
                stops += [self.jobs[done.job]["site"] for done in mine if self.on_site(done, day)]
                stops.append(crew["base"])
                total += sum(metres(here, there) for here, there in pairwise(stops))
        return total

    def on_site(self, done: Done, day: int) -> bool:
        if done.stage != "prep":
            return done.start // DAY == day
        today = range(max(done.start, DAY * day), min(done.end, DAY * day + DAY))
        return any(self.works_at(done.job, done.crew, slot) for slot in today)

    def moves(self, plan: Document) -> list[int]:
        decided = {(row["job"], row["stage"]): row for row in plan["stints"]}
        fixed = {(name, row["stage"]) for name, job in self.jobs.items() for row in job.get("fixed", [])}
        costs = []
        for row in self.problem.get("current", []):
            now = decided.get((row["job"], row["stage"]))
            stays = now and now["crew"] == row["crew"]
            if stays and abs(now["start"] - row["start"]) <= self.rules["move_tolerance"]:
                continue
            if (row["job"], row["stage"]) not in fixed:
                costs.append(row["move_cost"])
        return costs


def metres(here: list[int], there: list[int]) -> int:
    """Whole metres between two points, rounded down."""
    return isqrt((here[0] - there[0]) ** 2 + (here[1] - there[1]) ** 2)
