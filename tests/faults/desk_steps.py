"""What the office does on a day of faults."""

from __future__ import annotations

import html
import random
import re
from typing import TYPE_CHECKING, Final

import httpx
import icalendar

from tests.cast import a_picture
from tests.faults.answers import NotNow

if TYPE_CHECKING:
    from tests.faults.firm_day import FirmDay

CALL: Final = {
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
ANSWERS: Final = {"feel_grit": "70", "tile_line": "flush", "wall_profile": "even"}
PLACE: Final = re.compile(  # a form beside each other day
    r'name="crew" value="([^"]+)">\s*<input type="hidden" name="start" value="(\d+)">\s*'
    r'<input type="hidden" name="first_day" value="([0-9-]+)">'
)
PART: Final = re.compile(r"/plans/([0-9a-f-]{36})/issue-some/.*?</form>", re.DOTALL)


def first_call(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    label = f"Site {drawn.getrandbits(40):010x}, Alder Court"
    day.post(client, "/jobs/new/", **CALL, **{"site-label": label})
    day.keep("job", label)


def survey(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    job, name = drawn.choice(day.firm.jobs), drawn.choice(sorted(ANSWERS))
    day.post(client, f"/jobs/{job}/survey/", name=name, value=ANSWERS[name])
    day.keep("survey", f"{job} {name}")


def photo(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """A photo of its own; sent again until it is answered, since the same photo is kept once."""
    job, words = drawn.choice(day.firm.jobs), f"photo {drawn.getrandbits(40):010x}"
    sent = a_picture(96 + drawn.getrandbits(9), 72 + drawn.getrandbits(9), quality=drawn.randrange(60, 95))
    files = {"photos": ("pool.jpg", sent, "image/jpeg")}
    day.until_answered(lambda: day.post(client, f"/jobs/{job}/photos/", files=files, words=words))
    day.keep("photo", words)


def absence(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """Far ahead, so that plans stay possible."""
    reason, month = f"away {drawn.getrandbits(40):010x}", drawn.randrange(1, 13)
    days = {"first_day": f"2031-{month:02d}-03", "last_day": f"2031-{month:02d}-04"}
    day.post(client, f"/firm/crews/{drawn.choice(day.firm.crews)}/absence/", **days, reason=reason)
    day.keep("absence", reason)


def ask_plan(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    answer = day.post(client, "/plans/ask/", branch="main", why="a day of faults", seconds="10")
    day.keep("run", answer.headers["Location"].split("/")[-2])


def move_stint(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """Propose a stint at another of the places that its page offers; the office issues it next, or not."""
    stints = sorted(set(re.findall(r"/stints/([0-9a-f-]{36})/", day.got(client.get("/weeks/")).text)))
    if not stints:
        return
    stint = drawn.choice(stints)
    offered = PLACE.findall(day.got(client.get(f"/stints/{stint}/others/")).text)
    if offered:
        day.post(
            client,
            f"/stints/{stint}/move/",
            **dict(zip(("crew", "start", "first_day"), drawn.choice(offered), strict=True)),
        )
        issue_plan(day, client, drawn)


def issue_plan(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """Issue the proposal that the page offers, if there is one; being overtaken is an answer too."""
    page = day.got(client.get("/changes/"))
    found = re.search(r"/plans/([0-9a-f-]{36})/issue/", page.text)
    if found is None:
        return
    day.post(client, f"/plans/{found[1]}/issue/")
    day.keep("issue", found[1])


def issue_some(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """Take part of a proposal; that it needs other moves is an answer too."""
    page = day.got(client.get("/changes/"))
    found = PART.search(page.text)
    moves = [html.unescape(each) for each in re.findall(r'name="take" value="([^"]+)"', found[0])] if found else []
    if found is None or not moves:
        return
    day.post(client, f"/plans/{found[1]}/issue-some/", take=drawn.sample(moves, drawn.randint(1, len(moves))))
    day.keep("issue_some", found[1])


def try_hook(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """A call to the other system, to see that it answers; as the manager."""
    found = re.search(r"/firm/hooks/([0-9a-f-]{36})/", day.got(client.get("/firm/hooks/")).text)
    if found is None:
        return
    day.post(client, f"/firm/hooks/{found[1]}/try/")
    day.keep("call", found[1])


def weather_again(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    day.post(client, "/weather/again/")


def read_feed(day: FirmDay, client: httpx.Client, drawn: random.Random) -> None:
    """A subscriber's program: what it is given with 200 must be a whole calendar."""
    answer = client.get(day.firm.feed)
    if answer.status_code != 200:
        raise NotNow(f"feed {answer.status_code}")
    try:
        calendar = icalendar.Calendar.from_ical(answer.content)
        uids = [str(event["UID"]) for event in calendar.walk("VEVENT")]
        day.ledger.feed("" if len(uids) == len(set(uids)) else f"{day.firm.slug}: a UID twice")
    except (ValueError, KeyError) as broken:
        day.ledger.feed(f"{day.firm.slug}: {broken}")
