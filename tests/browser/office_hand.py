"""A person at the desk: every click and key is counted, and the workers do between two clicks what they would do."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from django.db import connection
from playwright.sync_api import Locator, Page

from scheduling.models import PlanRun, RunState
from scheduling.services.expected_dates import expected_dates_refresh_one, jobs_to_refresh
from scheduling.services.run_search import run_search
from shared import clock
from shared.models import Contractor
from shared.tenancy.context import acting_for

SHOTS: Final = Path(__file__).parent / "shots"


@dataclass
class Hand:
    """Clicks, keys and seconds of one task; what the engines took is counted apart."""

    page: Page
    clicks: int = 0
    keys: int = 0
    engine_s: float = 0.0
    begun: float = field(default_factory=time.monotonic)

    def click(self, what: Locator) -> None:
        what.click()
        self.clicks += 1

    def write(self, where: Locator, text: str) -> None:
        """Into a field: one click, then the keys."""
        where.fill(text)
        self.clicks += 1
        self.keys += len(text)

    def choose(self, where: Locator, value: str) -> None:
        where.select_option(value)
        self.clicks += 2

    def press(self, keys: str) -> None:
        """Keys at the keyboard, wherever it stands."""
        self.page.keyboard.press(keys)
        self.keys += 1

    def type(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.keys += len(text)

    @property
    def seconds(self) -> float:
        return time.monotonic() - self.begun - self.engine_s

    @contextmanager
    def at_the_engines(self) -> Iterator[None]:
        """What happens in here is the workers' time."""
        begun = time.monotonic()
        yield
        self.engine_s += time.monotonic() - begun


def dates_computed(contractor: Contractor) -> None:
    """What the worker does when it is woken: expected dates of all open jobs."""
    with acting_for(contractor.pk):
        ids = jobs_to_refresh()
    for job_id in ids:
        with acting_for(contractor.pk):
            expected_dates_refresh_one(contractor, job_id, clock.now())
    connection.close()  # the browser's driver runs a loop of its own, which has a connection of its own


def plan_searched(contractor: Contractor) -> PlanRun:
    """What the worker does with the search that waits."""
    with acting_for(contractor.pk):
        run = PlanRun.objects.get(state=RunState.WAITING)
    run_search(contractor.pk, run.pk)
    with acting_for(contractor.pk):
        found = PlanRun.objects.get(pk=run.pk)
    assert found.state == RunState.DONE, found.problem_text
    connection.close()
    return found


def note(name: str, hand: Hand, capsys: Any) -> None:
    """Print what the task took, and keep it beside the screenshots."""
    line = f"{name}: {hand.clicks} clicks, {hand.keys} keys, {hand.seconds:.0f} s at the screen"
    line += f", {hand.engine_s:.0f} s of the engines" if hand.engine_s else ""
    with capsys.disabled():
        print(f"\n{line}")
    SHOTS.mkdir(exist_ok=True)
    with (SHOTS / "tasks.jsonl").open("a") as kept:
        found = {"task": name, "clicks": hand.clicks, "keys": hand.keys}
        found |= {"screen_s": round(hand.seconds, 1), "engine_s": round(hand.engine_s, 1)}
        kept.write(json.dumps(found) + "\n")
