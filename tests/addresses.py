"""Who may enter which address: a row for every one, or tests/test_every_url.py fails."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from shared.models import Role

OFFICE: Final = (Role.OFFICE, Role.MANAGER)
EVERY_ROLE: Final = tuple(Role.values)
MANAGER: Final = (Role.MANAGER,)


@dataclass(frozen=True)
class Address:
    """Who may enter, whose id stands in it, and the methods it takes.

    subject : the word of `ids_of` whose id or secret the address carries; "" for none
    roles : members who may enter; OPEN where no login is asked for
    post_only, get_only : the other method is 405
    bare_post : what a POST without fields gets from those who may enter, where it is not said on a page
    """

    subject: str
    roles: tuple[str, ...] | None
    post_only: bool = False
    get_only: bool = False
    bare_post: int = 0

    def takes(self, method: str) -> bool:
        return not (self.post_only if method == "get" else self.get_only)


OPEN: Final = None
TABLE: Final[dict[str, Address]] = {
    # shared
    "favicon": Address("", OPEN, get_only=True),
    "login": Address("", OPEN),
    "logout": Address("", OPEN, post_only=True),
    "password-forgot": Address("", OPEN),
    "password-reset": Address("password", OPEN),
    "invitation": Address("invitation", OPEN),
    "firm-switch": Address("", EVERY_ROLE, post_only=True, bare_post=404),  # no firm is no firm of one's own
    "me": Address("", EVERY_ROLE),
    "login-second": Address("", OPEN),
    "second-factor": Address("", EVERY_ROLE),
    "sessions": Address("", EVERY_ROLE, bare_post=404),  # no log-in is none of one's own
    "confirm": Address("", EVERY_ROLE),
    "member-sessions": Address("member", MANAGER, post_only=True),
    "tokens": Address("", EVERY_ROLE),
    "token-revoke": Address("api_token", MANAGER, post_only=True),
    "security": Address("", MANAGER),
    "trail": Address("", MANAGER, get_only=True),
    "members": Address("", MANAGER),
    "member": Address("member", MANAGER),
    "invitation-withdraw": Address("invitation_row", MANAGER, post_only=True),
    "pool-owner-erase": Address("job", MANAGER),
    # jobs
    "job-new": Address("", OFFICE),
    "job-change": Address("job", OFFICE),
    "survey": Address("job", OFFICE),
    "survey-dry": Address("job", OFFICE, post_only=True),
    "water-loss": Address("job", OFFICE),
    "scope-agree": Address("job", OFFICE),
    "pool": Address("job", OFFICE),
    "photos": Address("job", OFFICE),
    "likelihoods": Address("", MANAGER),
    "weather": Address("", OFFICE, get_only=True),
    "weather-source": Address("", MANAGER, post_only=True),
    "weather-file": Address("", MANAGER),
    "weather-file-remove": Address("weather_file", MANAGER, post_only=True),
    "photo": Address("photo", EVERY_ROLE, get_only=True),
    "photo-small": Address("photo", EVERY_ROLE, get_only=True),
    "photo-remove": Address("photo", OFFICE, post_only=True),
    # scheduling: the office
    "home": Address("", EVERY_ROLE, get_only=True),  # a crew lead is led on to the day
    "weather-again": Address("", OFFICE, post_only=True),
    "weeks": Address("", OFFICE, get_only=True),
    "changes": Address("", OFFICE, get_only=True),
    "plan-ask": Address("", OFFICE),
    "plan-run": Address("run", OFFICE, get_only=True),
    "plan-run-cancel": Address("run", OFFICE, post_only=True),
    "plan-issue": Address("plan", OFFICE, post_only=True),
    "plan-chances": Address("plan", OFFICE, get_only=True),
    "plan-issue-some": Address("plan", OFFICE, post_only=True),
    "plan-set-aside": Address("plan", OFFICE, post_only=True),
    "stint": Address("stint", OFFICE, get_only=True),
    "stint-keep": Address("stint", OFFICE, post_only=True),
    "stint-mark": Address("stint", OFFICE, post_only=True),
    "stint-others": Address("stint", OFFICE, get_only=True),
    "stint-move": Address("stint", OFFICE, post_only=True),
    "date-for": Address("job", OFFICE),
    "date-plans": Address("job", OFFICE, get_only=True),
    "other-outcome": Address("job", OFFICE, get_only=True),
    "jobs": Address("", OFFICE),
    "job": Address("job", OFFICE),
    "job-call-off": Address("job", OFFICE),
    "job-rung": Address("job", OFFICE, post_only=True),
    "groundwater": Address("job", OFFICE),
    "firm": Address("", OFFICE),
    "begin": Address("", MANAGER),
    "firm-settings": Address("", MANAGER),
    "limits": Address("", MANAGER),
    "rates": Address("", MANAGER),
    "firm-words": Address("", MANAGER),
    "first-month": Address("", MANAGER),
    "own-work": Address("", OFFICE, get_only=True),
    "own-work-reset": Address("", OFFICE, post_only=True),
    "own-work-entry": Address("outcome", OFFICE, post_only=True),
    "crew-new": Address("", MANAGER),
    "crew": Address("crew", OFFICE),
    "crew-change": Address("crew", MANAGER),
    "absence": Address("crew", OFFICE),
    "absence-end": Address("absence", OFFICE, post_only=True),
    "link-make": Address("", OFFICE, post_only=True),
    "link-rotate": Address("link_row", OFFICE, post_only=True),
    "link-revoke": Address("link_row", OFFICE, post_only=True),
    "link-alarm": Address("link_row", OFFICE, post_only=True, bare_post=400),
    # scheduling: on site
    "crew-week": Address("", EVERY_ROLE, get_only=True),
    "today": Address("", EVERY_ROLE),
    "plaster-day": Address("job", EVERY_ROLE, get_only=True),
    "fill-watch": Address("job", EVERY_ROLE, get_only=True),
    "start-up": Address("job", EVERY_ROLE),
    "log": Address("job", EVERY_ROLE, post_only=True),
    "stint-done": Address("stint", EVERY_ROLE),
    "phone-day": Address("", EVERY_ROLE, get_only=True),
    "phone-queue": Address("", EVERY_ROLE),
    "worker": Address("", OPEN, get_only=True),
    "manifest": Address("", OPEN, get_only=True),
    "no-signal": Address("", OPEN, get_only=True),
    # notices and hooks
    "notices": Address("", OFFICE, get_only=True),
    "my-notices": Address("", EVERY_ROLE),
    "notice-mail": Address("mail", OFFICE, get_only=True),
    "notice-mail-html": Address("mail", OFFICE, get_only=True),
    "notice-mail-again": Address("mail", OFFICE, post_only=True),
    "receivers": Address("", OFFICE, get_only=True),
    "receiver": Address("receiver", OFFICE),
    "receiver-again": Address("receiver", OFFICE, post_only=True),
    "notice-words": Address("", OFFICE, get_only=True),
    "notice-text": Address("", MANAGER),
    "notice-text-html": Address("", OFFICE, get_only=True),
    "hooks": Address("", MANAGER),
    "hook": Address("hook", MANAGER, get_only=True),
    "hook-secret": Address("hook", MANAGER, post_only=True),
    "hook-try": Address("hook", MANAGER, post_only=True),
    "hook-end": Address("hook", MANAGER, post_only=True),
    "notices-wishes": Address("wishes", OPEN),
    "notices-stop": Address("wishes", OPEN),
    # by a secret
    "feed": Address("feed", OPEN, get_only=True),
    "pool-owner": Address("link", OPEN, get_only=True),
    "pool-owner-answer": Address("link", OPEN, post_only=True),
    "pool-owner-alarm": Address("link", OPEN, post_only=True),
}
