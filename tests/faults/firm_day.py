"""One firm's busy day as its people live it: over HTTP, knowing nothing of what dies behind the page."""

from __future__ import annotations

import random
import re
import threading
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field

import httpx
import icalendar

from tests.cast import PASSWORD
from tests.faults.ledger import Ledger

CALL = {
    "told-feel_grit": "70",
    "told-chip_behaviour": "powder",
    "owner-name": "Pool owner",
    "owner-phone": "555 0121",
    "owner-email": "pool.owner@faults.example",
    "owner-language": "en",
    "site-address": "Alder Court 4",
    "site-latitude": "36.1",
    "site-longitude": "-79.8",
    "site-zone": "America/New_York",
    "site-branch": "main",
    "site-quiet_until_min": "7 am",
    "site-quiet_from_min": "19:00",
    "site-hose_by": "bucket",
    "site-bucket_l": "5",
    "site-bucket_s": "30",
    "site-hoses": "2",
    "site-discharge_limit_l_min": "40",
    "pool-shape": "rectangle",
    "pool-length_m": "32",
    "pool-width_m": "16",
    "pool-shallow_m": "3.5",
    "pool-deep_m": "8",
    "work-finish": "grey",
}
ANSWERS = {"feel_grit": "70", "tile_line": "flush", "wall_profile": "even"}
TRIES = 12
PAUSE_S = 0.5
PATIENCE_S = 10.0


@dataclass
class FirmDay:
    """The office and the crew lead of one firm, doing one thing after another until told to stop."""

    base: str
    slug: str
    jobs: list[str]
    feed: str
    ledger: Ledger
    over: threading.Event
    seed: int
    entries: dict[str, str] = field(default_factory=dict)  # client id -> text, acknowledged or not

    def live(self) -> None:
        """Things in random order, a short breath between them."""
        drawn = random.Random(self.seed)
        people = {"office": self._client(), "crew_lead": self._client()}
        things: list[tuple[Callable[[httpx.Client, random.Random], None], str, int]] = [
            (self.log_note, "crew_lead", 8),
            (self.first_call, "office", 2),
            (self.survey, "office", 2),
            (self.ask_plan, "office", 1),
            (self.issue_plan, "office", 2),
            (self.weather_again, "office", 1),
            (self.read_feed, "office", 3),
        ]
        while not self.over.is_set():
            thing, role, _ = drawn.choices(things, [weight for *_, weight in things])[0]
            try:
                self._log_in(people[role], role)
                thing(people[role], drawn)
            except (httpx.HTTPError, NotNow) as why:
                self.ledger.no_answer(_in_short(why))
                people[role].close()
                people[role] = self._client()
                self.over.wait(PAUSE_S)
            self.over.wait(drawn.uniform(0.05, 0.3))
        for client in people.values():
            client.close()

    def log_note(self, client: httpx.Client, drawn: random.Random) -> None:
        """A note from the phone; sent again under the same id until it is answered."""
        job, number = drawn.choice(self.jobs), str(uuid.UUID(int=drawn.getrandbits(128), version=4))
        self.entries[number] = f"note {number}"
        self._until_answered(client, f"/site/jobs/{job}/log/", kind="note", text=f"note {number}", client_id=number)
        self.ledger.keep(self.slug, "log", number)

    def first_call(self, client: httpx.Client, drawn: random.Random) -> None:
        label = f"Site {drawn.getrandbits(40):010x}, Alder Court"
        self._post(client, "/jobs/new/", **CALL, **{"site-label": label})
        self.ledger.keep(self.slug, "job", label)

    def survey(self, client: httpx.Client, drawn: random.Random) -> None:
        job, name = drawn.choice(self.jobs), drawn.choice(sorted(ANSWERS))
        self._post(client, f"/jobs/{job}/survey/", name=name, value=ANSWERS[name])
        self.ledger.keep(self.slug, "survey", f"{job} {name}")

    def ask_plan(self, client: httpx.Client, drawn: random.Random) -> None:
        answer = self._post(client, "/plans/ask/", branch="main", why="a day of faults", seconds="10")
        self.ledger.keep(self.slug, "run", answer.headers["Location"].split("/")[-2])

    def issue_plan(self, client: httpx.Client, drawn: random.Random) -> None:
        """Issue the proposal that the page offers, if there is one; being overtaken is an answer too."""
        page = self._got(client.get("/changes/"))
        found = re.search(r"/plans/([0-9a-f-]{36})/issue/", page.text)
        if found is None:
            return
        answer = client.post(f"/plans/{found[1]}/issue/", data={"csrfmiddlewaretoken": client.cookies["csrftoken"]})
        if answer.status_code in (409, 422):
            self.ledger.refusal(f"issue {answer.status_code}")
            return
        self._got(answer, 302)
        self.ledger.keep(self.slug, "issue", found[1])

    def weather_again(self, client: httpx.Client, drawn: random.Random) -> None:
        self._post(client, "/weather/again/")

    def read_feed(self, client: httpx.Client, drawn: random.Random) -> None:
        """A subscriber's program: what it is given with 200 must be a whole calendar."""
        answer = client.get(self.feed)
        if answer.status_code != 200:
            raise NotNow(f"feed {answer.status_code}")
        try:
            calendar = icalendar.Calendar.from_ical(answer.content)
            uids = [str(event["UID"]) for event in calendar.walk("VEVENT")]
            self.ledger.feed("" if len(uids) == len(set(uids)) else f"{self.slug}: a UID twice")
        except (ValueError, KeyError) as broken:
            self.ledger.feed(f"{self.slug}: {broken}")

    def _client(self) -> httpx.Client:
        return httpx.Client(base_url=self.base, timeout=PATIENCE_S, headers={"Referer": self.base})

    def _log_in(self, client: httpx.Client, role: str) -> None:
        if "sessionid" in client.cookies:
            return
        self._got(client.get("/login/"))
        self._post(client, "/login/", email=f"{role}@{self.slug}.example", password=PASSWORD)

    def _post(self, client: httpx.Client, path: str, **data: str) -> httpx.Response:
        token = client.cookies.get("csrftoken")
        if token is None:
            raise NotNow("no form was seen")
        return self._got(client.post(path, data={**data, "csrfmiddlewaretoken": token}), 302)

    def _until_answered(self, client: httpx.Client, path: str, **data: str) -> None:
        for _ in range(TRIES):
            try:
                self._post(client, path, **data)
                return
            except (httpx.HTTPError, NotNow) as why:
                self.ledger.no_answer(_in_short(why))
                self.over.wait(PAUSE_S)
        raise NotNow(f"{path}: no answer in {TRIES} tries")

    def _got(self, answer: httpx.Response, status: int = 200) -> httpx.Response:
        if answer.status_code == status and "/login/" not in answer.headers.get("Location", ""):
            return answer
        if answer.status_code < 500 and answer.status_code != 302:
            self.ledger.refusal(f"{answer.request.method} {answer.request.url.path} {answer.status_code}")
        raise NotNow(f"{answer.request.url.path} {answer.status_code}")


class NotNow(RuntimeError):
    """The service gave no answer that keeps anything; the person tries again or does something else."""


def _in_short(why: Exception) -> str:
    """The kind of failure, without the ids in addresses."""
    return re.sub(r"[0-9a-f]{8}-[0-9a-f-]{27}|/feeds/[^/]+", "", f"{type(why).__name__} {why}")[:80]
