"""What the crew lead does on a day of faults, with and without signal."""

from __future__ import annotations

import datetime as dt
import random
import uuid
from typing import TYPE_CHECKING, Any, Final

import httpx

if TYPE_CHECKING:
    from tests.faults.firm_day import FirmDay

FIRST_IN, STEP_IN = 70.0, 0.01  # inches below full of the readings, one after the other
WATER: Final = {"of": "hose", "ph": "7.6", "total_alkalinity_mg_l": "90", "calcium_hardness_mg_l": "210"}


def new_id(drawn: random.Random) -> str:
    """The id that a phone makes for an entry."""
    return str(uuid.UUID(int=drawn.getrandbits(128), version=4))


def log_note(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """A note from the phone; sent again under the same id until it is answered."""
    job, number = drawn.choice(day.firm.jobs), new_id(drawn)
    fields = {"kind": "note", "text": f"note {number}", "client_id": number}
    day.until_answered(lambda: day.post(client, f"/site/jobs/{job}/log/", **fields))
    day.keep("log", number)


def fill_reading(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """The water that stands a little higher each time."""
    number = new_id(drawn)
    day.readings += 1
    below = f"{FIRST_IN - STEP_IN * day.readings:.2f}"
    fields = {"kind": "level", "below_full_mm": below, "client_id": number}
    day.until_answered(lambda: day.post(client, f"/site/jobs/{day.firm.filling}/log/", **fields))
    day.keep("log", number)


def water_test(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    job, number = drawn.choice(day.firm.jobs), new_id(drawn)
    fields = {"what": "test", "client_id": number, "temp_c": "68", **WATER}
    day.until_answered(lambda: day.post(client, f"/site/jobs/{job}/start-up/", **fields))
    day.keep("water", number)


def phone_entry(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """Tapped without signal a while ago, sent now; again under the same id until somebody answers."""
    job, number = drawn.choice(day.firm.jobs), new_id(drawn)
    owner = day.got(client.get("/site/queue/")).json()["owners"][0]["owner"]
    now = dt.datetime.now(dt.UTC)
    entry = {
        "client_id": number,
        "owner": owner,
        "address": f"/site/jobs/{job}/log/",
        "fields": [["kind", "note"], ["text", f"phone {number}"]],
        "said": "Note",
        "at": (now - dt.timedelta(minutes=drawn.randint(1, 90))).isoformat(),
        "sent_at": now.isoformat(),
    }
    day.until_answered(lambda: _sent(day, client, entry))
    day.keep("phone", number)


def _sent(day: FirmDay, client: httpx.Client, entry: dict[str, Any]) -> None:
    answer = client.post("/site/queue/", json=entry, headers={"X-CSRFToken": client.cookies.get("csrftoken") or ""})
    day.got(answer)
