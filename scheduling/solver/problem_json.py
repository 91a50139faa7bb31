"""Reading and writing the `resurf-problem/1` document."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from typing import Any, TypeVar

from scheduling.solver.facts import (
    DAY,
    FAR_M,
    FIRST_STAGES,
    FORMAT,
    MANY,
    SKILLS,
    SLOT_MINUTES,
    BondRow,
    Crew,
    FillRow,
    Fixed,
    Issued,
    Job,
    PlasterRow,
    Point,
    Rules,
    Span,
    StartUp,
    Travel,
    Weights,
)
from scheduling.solver.reading import ProblemError, entry, items, numbers, refuse, spans, text, whole

LONGEST_DAYS = 400
Row = TypeVar("Row")
MOST_JOBS = 2000
MOST_CREWS = 200
LENGTHS = (
    ("drain_setup_len", 1, DAY),
    ("pump_len", 0, 60 * DAY),
    ("drain_pull_len", 1, DAY),
    ("prep_work", 1, 100 * DAY),
    ("bond_len", 1, DAY),
    ("fill_start_len", 1, DAY),
    ("fill_len", 0, 60 * DAY),
    ("fill_end_len", 1, DAY),
)


def read_fields(document: object) -> dict[str, Any]:
    """Read and check the fields of a whole document."""
    kind = entry(document, "format", "The problem")
    if kind != FORMAT:
        refuse("format", kind, repr(FORMAT))
    slot = entry(document, "slot_minutes", "The problem")
    if type(slot) is not int or slot != SLOT_MINUTES:
        refuse("slot_minutes", slot, str(SLOT_MINUTES))
    days = whole(entry(document, "horizon_days", "The problem"), "horizon_days", 1, LONGEST_DAYS)
    rules = _rules(entry(document, "rules", "The problem"))
    crews = tuple(_crew(record, days) for record in items(entry(document, "crews", "The problem"), "crews"))
    _all_different((crew.id for crew in crews), "crew id")
    whole(len(crews), "the number of crews", 0, MOST_CREWS)
    stages = _stages(rules)
    jobs = tuple(
        _job(record, days, stages, {crew.id for crew in crews})
        for record in items(entry(document, "jobs", "The problem"), "jobs")
    )
    _all_different((job.id for job in jobs), "job id")
    whole(len(jobs), "the number of jobs", 0, MOST_JOBS)
    assert isinstance(document, Mapping)
    current = tuple(_issued(record) for record in items(document.get("current", ()), "current"))
    _check_current(current, {job.id for job in jobs}, stages)
    return {
        "horizon_days": days,
        "now": whole(entry(document, "now", "The problem"), "now", 0, DAY * days),
        "travel": _travel(entry(document, "travel", "The problem")),
        "weights": _weights(document.get("weights", {})),
        "rules": rules,
        "pumps": whole(entry(document, "pumps", "The problem"), "pumps", 0, MANY),
        "rigs": whole(entry(document, "rigs", "The problem"), "rigs", 0, MANY),
        "crews": crews,
        "jobs": jobs,
        "current": current,
    }


def _all_different(keys: Iterable[Hashable], what: str) -> None:
    seen: set[Hashable] = set()
    for key in keys:
        if key in seen:
            raise ProblemError(f"The {what} {key!r} stands twice, but must be unique.")
        seen.add(key)


def _point(value: object, what: str) -> Point:
    east, north = numbers(value, what, (2,), -FAR_M, FAR_M)
    return east, north


def _travel(record: object) -> Travel:
    return Travel(
        whole(entry(record, "speed_m_per_min", "travel"), "travel.speed_m_per_min", 1, MANY),
        whole(entry(record, "fixed_min", "travel"), "travel.fixed_min", 0, 24 * 60),
    )


def _weights(record: object) -> Weights:
    if not isinstance(record, Mapping):
        refuse("weights", record, "an object")
    usual = Weights()
    return Weights(
        *(
            whole(record.get(name, getattr(usual, name)), f"weights.{name}", 0, MANY)
            for name in ("late_day", "fill_day", "travel_km", "unplanned")
        )
    )


def _rules(record: object) -> Rules:
    limits = {
        name: whole(entry(record, name, "rules"), f"rules.{name}", 0, 60 * DAY)
        for name in ("recoat_max", "fill_latest", "fill_end_early", "fill_end_late", "move_tolerance")
    }
    startup = tuple(
        StartUp(
            whole(entry(row, "day", "A start-up"), "the day of a start-up", 0, LONGEST_DAYS),
            whole(entry(row, "tol", "A start-up"), "the tolerance of a start-up", 0, 30),
            whole(entry(row, "len", "A start-up"), "the length of a start-up", 1, DAY),
        )
        for row in items(entry(record, "startup", "rules"), "rules.startup")
    )
    _all_different((row.day for row in startup), "day of start-up")
    assert isinstance(record, Mapping)
    second = record.get("second_bond", False)
    if not isinstance(second, bool):
        refuse("rules.second_bond", second, "true or false")
    return Rules(**limits, startup=startup, second_bond=second)


def _stages(rules: Rules) -> frozenset[str]:
    return frozenset((*FIRST_STAGES, "bond_again", *(row.stage for row in rules.startup)))


def _crew(record: object, days: int) -> Crew:
    name = text(entry(record, "id", "A crew"), "the id of a crew")
    skills = items(entry(record, "skills", f"Crew {name}"), f"skills of crew {name}")
    for skill in skills:
        if skill not in SKILLS:
            refuse(f"A skill of crew {name}", skill, "one of " + ", ".join(SKILLS))
    shifts = spans(entry(record, "shifts", f"Crew {name}"), f"A shift of crew {name}", 0, DAY * days)
    for first, last in shifts:
        if first // DAY != (last - 1) // DAY:
            refuse(f"A shift of crew {name}", [first, last], "within one day of 48 slots")
    return Crew(
        id=name,
        skills=tuple(skills),
        people=whole(entry(record, "people", f"Crew {name}"), f"people of crew {name}", 1, 1000),
        base=_point(entry(record, "base", f"Crew {name}"), f"base of crew {name}"),
        shifts=shifts,
    )


def _job(record: object, days: int, stages: frozenset[str], crews: set[str]) -> Job:
    name = text(entry(record, "id", "A job"), "the id of a job")
    what = f"Job {name}"
    assert isinstance(record, Mapping)
    promise = record.get("promise_day")
    lengths = {
        field: whole(entry(record, field, what), f"{field} of job {name}", low, high) for field, low, high in LENGTHS
    }
    return Job(
        id=name,
        site=_point(entry(record, "site", what), f"site of job {name}"),
        earliest=whole(entry(record, "earliest", what), f"earliest of job {name}", -60 * DAY, DAY * days),
        promise_day=None if promise is None else whole(promise, f"promise_day of job {name}", -LONGEST_DAYS, MANY),
        weight=whole(entry(record, "weight", what), f"weight of job {name}", 1, 1_000_000),
        quiet=spans(record.get("quiet", ()), f"quiet hours of job {name}", 0, DAY),
        bond_days=_rows(record, "bond_days", (4,), days, lambda row: BondRow(*row)),
        plaster_days=_rows(record, "plaster_days", (5, 6), days, lambda row: PlasterRow(*row)),
        fixed=_fixed_stages(record.get("fixed", ()), name, days, stages, crews),
        fill_days=None
        if record.get("fill_days") is None
        else _rows(record, "fill_days", (3,), days, lambda row: FillRow(*row)),
        blocked=_blocked(record.get("blocked", {}), name, days, stages),
        **lengths,
    )


def _rows(
    record: object, field: str, counts: tuple[int, ...], days: int, make: Callable[[tuple[int, ...]], Row]
) -> tuple[Row, ...]:
    rows: list[Row] = []
    for row in items(entry(record, field, "A job"), field):
        figures = numbers(row, f"A row of {field}", counts, 0, DAY * days)
        day, first, last = figures[:3]
        if not DAY * day <= first <= last < DAY * day + DAY:
            refuse(f"A row of {field}", row, "starts first <= last within its day of 48 slots")
        if day >= days:
            refuse(f"A row of {field}", row, f"on a day before the horizon of {days} days")
        if field == "plaster_days" and not 1 <= figures[3] <= DAY:
            refuse("The length of a plaster day", figures[3], f"a whole number from 1 to {DAY}")
        rows.append(make(figures))
    return tuple(rows)


def _fixed_stages(value: object, name: str, days: int, stages: frozenset[str], crews: set[str]) -> tuple[Fixed, ...]:
    found = []
    for record in items(value, f"fixed of job {name}"):
        stage = entry(record, "stage", f"A fixed stage of job {name}")
        crew = entry(record, "crew", f"A fixed stage of job {name}")
        if not isinstance(stage, str) or stage not in stages:
            refuse(f"A fixed stage of job {name}", stage, "one of " + ", ".join(sorted(stages)))
        if not isinstance(crew, str) or crew not in crews:
            refuse(f"The crew of a fixed stage of job {name}", crew, "the id of a crew")
        start = whole(entry(record, "start", stage), f"start of {stage} of job {name}", -MANY, DAY * days)
        end = whole(entry(record, "end", stage), f"end of {stage} of job {name}", start + 1, DAY * days)
        found.append(Fixed(stage, crew, start, end))
    _all_different((stage.stage for stage in found), f"fixed stage of job {name}:")
    return tuple(found)


def _blocked(value: object, name: str, days: int, stages: frozenset[str]) -> dict[str, tuple[Span, ...]]:
    if not isinstance(value, Mapping):
        refuse(f"blocked of job {name}", value, "an object")
    for stage in value:
        if stage not in stages:
            refuse(f"A blocked stage of job {name}", stage, "one of " + ", ".join(sorted(stages)))
    return {stage: spans(blocks, f"blocked {stage} of job {name}", 0, DAY * days) for stage, blocks in value.items()}


def _issued(record: object) -> Issued:
    return Issued(
        job=text(entry(record, "job", "current"), "a job of current"),
        stage=text(entry(record, "stage", "current"), "a stage of current"),
        crew=text(entry(record, "crew", "current"), "a crew of current"),
        start=whole(entry(record, "start", "current"), "a start of current", -MANY, MANY),
        move_cost=whole(entry(record, "move_cost", "current"), "a move_cost of current", 0, MANY),
    )


def _check_current(current: tuple[Issued, ...], jobs: set[str], stages: frozenset[str]) -> None:
    for row in current:
        if row.job not in jobs:
            refuse("A job of current", row.job, "the id of a job")
        if row.stage not in stages:
            refuse("A stage of current", row.stage, "one of " + ", ".join(sorted(stages)))
    _all_different(((row.job, row.stage) for row in current), "stint of current")


def write_fields(fields: Mapping[str, Any]) -> dict[str, Any]:
    """Return the document of the fields of a problem."""
    rules = fields["rules"]
    document: dict[str, Any] = {
        "format": FORMAT,
        "slot_minutes": SLOT_MINUTES,
        "horizon_days": fields["horizon_days"],
        "now": fields["now"],
        "travel": _plain(fields["travel"]),
        "weights": _plain(fields["weights"]),
        "rules": _plain(rules) | {"startup": [_plain(row) for row in rules.startup]},
        "pumps": fields["pumps"],
        "rigs": fields["rigs"],
        "crews": [_plain(crew) for crew in fields["crews"]],
        "jobs": [_write_job(job) for job in fields["jobs"]],
        "current": [_plain(row) for row in fields["current"]],
    }
    if not rules.second_bond:
        del document["rules"]["second_bond"]
    return document


def _write_job(job: Job) -> dict[str, Any]:
    document = _plain(job)
    for name in ("bond_days", "plaster_days", "fill_days"):
        if document[name] is not None:
            document[name] = [list(_plain(row).values()) for row in document[name]]
    document["plaster_days"] = [row if row[5] else row[:5] for row in document["plaster_days"]]
    document["fixed"] = [_plain(stage) for stage in job.fixed]
    document["blocked"] = {stage: [list(block) for block in blocks] for stage, blocks in job.blocked.items()}
    if job.fill_days is None:
        del document["fill_days"]
    if not job.blocked:
        del document["blocked"]
    return document


def _plain(record: Any) -> dict[str, Any]:
    """Return the fields of a dataclass, tuples as lists (of lists)."""
    found: dict[str, Any] = {}
    for name in record.__dataclass_fields__:
        value = getattr(record, name)
        if isinstance(value, tuple):
            value = [list(part) if isinstance(part, tuple) else part for part in value]
        found[name] = value
    return found
