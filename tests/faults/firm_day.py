"""One firm's busy day as its people live it: over HTTP, knowing nothing of what dies behind the page."""

from __future__ import annotations

import random
import re
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

import httpx

from tests.cast import PASSWORD
from tests.faults import desk_steps, site_steps
from tests.faults.answers import NotNow, Refused
from tests.faults.firms import Firm
from tests.faults.ledger import Ledger

ROLES: Final = ("office", "manager", "crew_lead")
TRIES: Final = 12
PAUSE_S: Final = 0.5
PATIENCE_S: Final = 10.0
Step = Callable[["FirmDay", httpx.Client, random.Random], None]
STEPS: Final[tuple[tuple[Step, str, int], ...]] = (
    (site_steps.log_note, "crew_lead", 6),
    (site_steps.phone_entry, "crew_lead", 4),
    (site_steps.fill_reading, "crew_lead", 3),
    (site_steps.water_test, "crew_lead", 2),
    (desk_steps.photo, "office", 3),
    (desk_steps.first_call, "office", 2),
    (desk_steps.survey, "office", 2),
    (desk_steps.absence, "office", 1),
    (desk_steps.ask_plan, "office", 2),
    (desk_steps.move_stint, "office", 4),
    (desk_steps.issue_plan, "office", 2),
    (desk_steps.issue_some, "office", 4),
    (desk_steps.try_hook, "manager", 3),
    (desk_steps.weather_again, "office", 1),
    (desk_steps.read_feed, "office", 3),
)


@dataclass
class FirmDay:
    """Office, manager and crew lead of one firm, doing one thing after another until told to stop."""

    base: str
    firm: Firm
    ledger: Ledger
    over: threading.Event
    seed: int
    readings: int = 0

    def live(self) -> None:
        """Things in random order, a short breath between them."""
        drawn = random.Random(self.seed)
        people = {role: self.client() for role in ROLES}
        while not self.over.is_set():
            step, role, _ = drawn.choices(STEPS, [weight for *_, weight in STEPS])[0]
            try:
                self._log_in(people[role], role)
                step(self, people[role], drawn)
            except Refused:
                pass  # an answer too; it is in the ledger
            except (httpx.HTTPError, NotNow) as why:
                self.ledger.no_answer(_in_short(why))
                people[role].close()
                people[role] = self.client()
                self.over.wait(PAUSE_S)
            self.over.wait(drawn.uniform(0.05, 0.3))
        for client in people.values():
            client.close()

    def keep(self, kind: str, what: str) -> None:
        self.ledger.keep(self.firm.slug, kind, what)

    def client(self) -> httpx.Client:
        return httpx.Client(base_url=self.base, timeout=PATIENCE_S, headers={"Referer": self.base})

    def post(self, client: httpx.Client, path: str, files: Any = None, **data: Any) -> httpx.Response:
        token = client.cookies.get("csrftoken")
        if token is None:
            raise NotNow("no form was seen")
        return self.got(client.post(path, data={**data, "csrfmiddlewaretoken": token}, files=files), 302)

    def until_answered(self, what: Callable[[], Any]) -> Any:
        """As a phone or a careful person does: the same thing again, under the same id, until somebody answers."""
        for _ in range(TRIES):
            try:
                return what()
            except Refused:
                raise
            except (httpx.HTTPError, NotNow) as why:
                self.ledger.no_answer(_in_short(why))
                self.over.wait(PAUSE_S)
        raise NotNow(f"no answer in {TRIES} tries")

    def got(self, answer: httpx.Response, status: int = 200) -> httpx.Response:
        if answer.status_code == status and "/login/" not in answer.headers.get("Location", ""):
            return answer
        if answer.status_code < 500 and answer.status_code != 302:
            self.ledger.refusal(_in_short(f"{answer.request.method} {answer.request.url.path} {answer.status_code}"))
            raise Refused(f"{answer.request.url.path} {answer.status_code}")
        raise NotNow(f"{answer.request.url.path} {answer.status_code}")

    def _log_in(self, client: httpx.Client, role: str) -> None:
        if "sessionid" in client.cookies:
            return
        self.got(client.get("/login/"))
        self.post(client, "/login/", email=f"{role}@{self.firm.slug}.example", password=PASSWORD)


def _in_short(why: Exception | str) -> str:
    """The kind of failure, without the ids in addresses."""
    words = why if isinstance(why, str) else f"{type(why).__name__} {why}"
    return re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}|/feeds/[^/]+", "", words)[:80]
