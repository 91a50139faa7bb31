"""The plan: which crew starts which stage of which job when, and which jobs are left out."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from scheduling.solver.reading import ProblemError, entry, items, refuse, text, whole

FORMAT = "resurf-plan/1"
FAR = 1_000_000_000
MOST = 1_000_000_000_000_000_000


@dataclass(frozen=True, slots=True, order=True)
class Stint:
    """One crew at one site for one stage; `start` in slots.  The end follows from the problem."""

    job: str
    stage: str
    crew: str
    start: int


@dataclass(frozen=True)
class Plan:
    """Decisions only: no fixed stage, no end.

    `objective` is what the plan costs, `bound` what no plan can undercut (None: nothing proven) and `seconds`
    how long it took.
    """

    stints: tuple[Stint, ...]
    unplanned: tuple[str, ...] = ()
    objective: int | None = None
    bound: int | None = None
    seconds: float | None = None

    @classmethod
    def from_json(cls, document: Mapping[str, Any] | str | bytes) -> "Plan":
        """Read a `resurf-plan/1` document (an object or its text); `ProblemError` says what is wrong."""
        if isinstance(document, (str, bytes)):
            try:
                document = json.loads(document)
            except (ValueError, RecursionError) as error:
                raise ProblemError(f"The plan is not valid JSON, but must be: {error}.") from error
        kind = entry(document, "format", "The plan")
        if kind != FORMAT:
            refuse("format", kind, repr(FORMAT))
        assert isinstance(document, Mapping)
        return cls(
            stints=tuple(_stint(record) for record in items(entry(document, "stints", "The plan"), "stints")),
            unplanned=tuple(
                text(job, "a job of unplanned") for job in items(entry(document, "unplanned", "The plan"), "unplanned")
            ),
            objective=_figure(document, "objective"),
            bound=_figure(document, "bound"),
            seconds=_seconds(document.get("seconds")),
        )

    def to_json(self) -> dict[str, Any]:
        """Return the document as plain lists, objects, texts and numbers."""
        return {
            "format": FORMAT,
            "stints": [
                {"job": stint.job, "stage": stint.stage, "crew": stint.crew, "start": stint.start}
                for stint in self.stints
            ],
            "unplanned": list(self.unplanned),
            "objective": self.objective,
            "bound": self.bound,
            "seconds": self.seconds,
        }

    @property
    def gap(self) -> float | None:
        """Share of the objective that a better plan could save at most."""
        if self.objective is None or self.bound is None:
            return None
        return (self.objective - self.bound) / self.objective if self.objective else 0.0


def _stint(record: object) -> Stint:
    return Stint(
        job=text(entry(record, "job", "A stint"), "the job of a stint"),
        stage=text(entry(record, "stage", "A stint"), "the stage of a stint"),
        crew=text(entry(record, "crew", "A stint"), "the crew of a stint"),
        start=whole(entry(record, "start", "A stint"), "the start of a stint", -FAR, FAR),
    )


def _figure(document: Mapping[str, Any], name: str) -> int | None:
    value = document.get(name)
    return None if value is None else whole(value, name, -MOST, MOST)


def _seconds(value: object) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not value >= 0:
        refuse("seconds", value, "a number that is not negative")
    return value
