"""What every screen shows and does, and the operation of the API that shows or does the same through the same service.

A row for every address of tests/addresses.py. A text in place of operations is the reason why there is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LOG_IN: Final = "log-in only: a token stands for a log-in, so it neither makes nor changes one"
BY_LINK: Final = "opened by a private link of its own, not by a member's token"
APP: Final = "a file of the pages used on site"
FORM: Final = "an empty form; the operation's document says what may be sent"
READ: Final = "only a way to another page"

Told = tuple[str, ...] | str


@dataclass(frozen=True)
class Screen:
    """Operations that show what a GET shows, and that do what a POST does (each of them, where it does several)."""

    shows: Told = ""
    does: Told = ""


def both(reason: str) -> Screen:
    return Screen(reason, reason)


SCREENS: Final[dict[str, Screen]] = {
    # shared
    "favicon": Screen(APP),
    "login": both(LOG_IN),
    "logout": both(LOG_IN),
    "password-forgot": both(LOG_IN),
    "password-reset": both(LOG_IN),
    "invitation": both(LOG_IN),
    "firm-switch": Screen(does="a token belongs to one firm"),
    "me": Screen(("me",), ("me_change",)),  # and the password: log-in only
    "login-second": both(LOG_IN),
    "second-factor": both(LOG_IN),
    "sessions": both(LOG_IN),
    "confirm": both("log-in only: the password once more"),
    "member-sessions": Screen(does="log-in only: a log-in of somebody who left the phone behind is ended by a log-in"),
    "tokens": Screen(("tokens_list", "token_show"), "log-in only: a stolen token must not renew itself"),
    "token-revoke": Screen(does=("token_revoke",)),
    "security": Screen(("tokens_list",), "log-in only: by a manager who has a second factor"),
    "trail": Screen(("audit_list",)),
    "members": Screen(("members_list", "invitations_list", "invitation_show"), ("invitation_make",)),
    "member": Screen(("member_show",), ("member_change",)),
    "invitation-withdraw": Screen(does=("invitation_withdraw",)),
    # jobs
    "job-new": Screen(FORM, ("job_open",)),
    "job-change": Screen(("job_show", "site_show", "pool_owner_show"), ("job_correct",)),
    "survey": Screen(("surveys_list", "survey_show"), ("observation_record", "survey_record")),
    "survey-dry": Screen(does=("survey_record",)),
    "water-loss": Screen(FORM, ("water_loss_measure",)),
    "scope-agree": Screen(("scope_proposed", "scope_show", "scopes_list"), ("scope_agree", "scope_try")),
    "pool": Screen(("pool_show",), ("pool_measure", "pool_try")),
    "photos": Screen(("photos_list", "photo_show"), ("photo_add",)),
    "likelihoods": Screen(
        ("likelihoods_list", "likelihood_show"), ("likelihood_set", "likelihood_reset", "likelihoods_reset")
    ),
    "weather": Screen(("weather_show", "weather_files_list", "weather_file_show")),
    "weather-source": Screen(does=("weather_source_set",)),
    "weather-file": Screen(FORM, ("weather_file_keep",)),
    "weather-file-remove": Screen(does=("weather_file_remove",)),
    "photo": Screen(("photo_file",)),
    "photo-small": Screen(("photo_small",)),
    "pool-owner-erase": Screen(("erasure_show",), ("pool_owner_erase",)),
    "photo-remove": Screen(does=("photo_remove",)),
    # scheduling: the office
    "home": Screen(("decisions_list",)),
    "weather-again": Screen(does=("weather_again",)),
    "weeks": Screen(("stints_list", "jobs_list", "crews_list")),
    "changes": Screen(("plans_list", "plan_show", "plan_changes", "runs_list")),
    "plan-ask": Screen(FORM, ("plan_ask",)),
    "plan-run": Screen(("run_show",)),
    "plan-run-cancel": Screen(does=("run_stop",)),
    "plan-issue": Screen(does=("plan_issue",)),
    "plan-chances": Screen(("plan_chances",)),
    "plan-issue-some": Screen(does=("plan_issue_some",)),
    "plan-set-aside": Screen(does=("plan_set_aside",)),
    "stint": Screen(("stint_show", "stint_why")),
    "stint-keep": Screen(does=("stint_keep",)),
    "stint-mark": Screen(does=("stint_mark",)),
    "stint-others": Screen(("stint_others",)),
    "stint-move": Screen(does=("stint_move",)),
    "date-for": Screen(("date_offers_show", "dates_show"), ("date_promise",)),
    "date-plans": Screen(("date_plans_show",)),
    "other-outcome": Screen(("other_outcome_show",)),
    "jobs": Screen(("jobs_list",), READ),
    "job": Screen(("job_show", "quantities_show", "dates_show", "start_up_show", "logs_list"), READ),
    "job-call-off": Screen(FORM, ("job_call_off",)),
    "job-rung": Screen(does=("fill_day_rung",)),
    "groundwater": Screen(READ, ("groundwater_record",)),
    "firm": Screen(("firm_show", "crews_list", "links_list", "link_show"), READ),
    "begin": Screen(FORM, ("crew_make",)),  # one after the other
    "firm-settings": Screen(READ, ("firm_change",)),
    "limits": Screen(("firm_show",), ("limits_set",)),
    "rates": Screen(("firm_show",), ("rates_set",)),
    "firm-words": Screen(("words_show",), ("words_set",)),
    "first-month": Screen(("first_month_show",), ("first_month_set",)),
    "own-work": Screen(("own_work_show", "outcomes_list", "outcome_show", "learning_resets_list")),
    "own-work-reset": Screen(does=("learning_reset",)),
    "own-work-entry": Screen(does=("outcome_count",)),
    "crew-new": Screen(FORM, ("crew_make",)),
    "crew": Screen(("crew_show", "absences_list", "absence_show"), READ),
    "crew-change": Screen(READ, ("crew_change",)),
    "absence": Screen(READ, ("absence_note",)),
    "absence-end": Screen(does=("absence_end",)),
    "link-make": Screen(does=("link_make",)),
    "link-rotate": Screen(does=("link_rotate",)),
    "link-revoke": Screen(does=("link_revoke",)),
    "link-alarm": Screen(does=("link_alarm",)),
    # scheduling: on site
    "crew-week": Screen(("week_show",)),
    "today": Screen(("today_show",), READ),
    "plaster-day": Screen(("plaster_day_show",)),
    "fill-watch": Screen(("fill_show",)),
    "start-up": Screen(
        ("start_up_show", "water_tests_list", "additions_list", "logs_list"),
        ("water_test_log", "addition_log", "start_up_method"),  # acid_sign is the office's
    ),
    "log": Screen(does=("log_take", "pool_full")),
    "stint-done": Screen(("stint_show",), ("stint_done", "log_take")),
    "phone-day": Screen("which pages a phone keeps"),
    "phone-queue": both("what a phone typed without signal; a program sends each entry with its client id again"),
    "worker": Screen(APP),
    "manifest": Screen(APP),
    "no-signal": Screen(APP),
    # notices and hooks
    "notices": Screen(("notices_list", "mails_list")),
    "my-notices": Screen(("my_wishes_show",), ("my_wishes_set",)),
    "notice-mail": Screen(("mail_show",)),
    "notice-mail-html": Screen(("mail_show",)),
    "notice-mail-again": Screen(does=("mail_again",)),
    "receivers": Screen(("receivers_list",)),
    "receiver": Screen(("wishes_show",), ("wishes_set",)),
    "receiver-again": Screen(does=("address_again",)),
    "notice-words": Screen(("notice_words_list",)),
    "notice-text": Screen(("notice_words_show",), ("notice_words_keep", "notice_words_usual", "notice_words_try")),
    "notice-text-html": Screen(("notice_words_try",)),
    "hooks": Screen(("hooks_list",), ("hook_make",)),
    "hook": Screen(("hook_show", "hook_calls_list")),
    "hook-secret": Screen(does=("hook_renew",)),
    "hook-try": Screen(does=("hook_test",)),
    "hook-end": Screen(does=("hook_end",)),
    "notices-wishes": both(BY_LINK),
    "notices-stop": both(BY_LINK),
    # by a secret
    "feed": Screen(BY_LINK),
    "pool-owner": Screen(BY_LINK),
    "pool-owner-answer": Screen(does=BY_LINK),
    "pool-owner-alarm": Screen(does=BY_LINK),
}
# What one form does beside another, by the name and value of the button or hidden field that says so.
PARTS: Final[dict[tuple[str, str], Told]] = {
    ("active", "on"): ("crew_make",),
    ("do", "agree"): ("scope_agree",),
    ("do", "keep"): ("water_loss_measure",),
    ("do", "password"): LOG_IN,
    ("do", "reset"): ("likelihood_reset",),
    ("do", "save"): ("pool_measure",),
    ("do", "take-back"): ("observation_record",),
    ("do", "try"): ("scope_try", "pool_try", "water_loss_measure"),
    ("action", "keep"): ("notice_words_keep",),
    ("action", "preview"): ("notice_words_try",),
    ("action", "usual"): ("notice_words_usual",),
    ("action", "started"): ("log_take",),
    ("kind", "brushed"): ("log_take",),
    ("kind", "full"): ("pool_full",),
    ("kind", "hose"): ("log_take",),
    ("kind", "laid"): ("log_take",),
    ("kind", "level"): ("log_take",),
    ("kind", "note"): ("log_take",),
    ("kind", "pass"): ("log_take",),
    ("kind", "reading"): ("log_take",),
    ("kind", "taken_back"): ("log_take",),
    ("what", "acid"): ("acid_sign",),
    ("what", "addition"): ("addition_log",),
    ("what", "different"): ("log_take",),
    ("what", "done"): ("stint_done",),
    ("what", "groundwater"): ("groundwater_record", "log_take"),
    ("what", "method"): ("start_up_method",),
    ("what", "test"): ("water_test_log",),
    ("end", "others"): LOG_IN,
    ("view", "table"): "another way to look at the same",
    ("kept", "0"): ("stint_keep",),
    ("kept", "1"): ("stint_keep",),
}
# Operations that no screen names: what stands by itself there is a part of another page.
OF_THE_API_ALONE: Final[dict[str, str]] = {
    "sites_list": "sites stand in the list of jobs",
    "pools_list": "pools stand in the list of jobs",
    "pool_owners_list": "pool owners stand in the list of jobs",
}
