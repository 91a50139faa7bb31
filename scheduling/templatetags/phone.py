"""`{% load phone %}`: what the scripts of a page used on site need to know, as JSON that no browser runs."""

from __future__ import annotations

from typing import Final

from django import template
from django.template import Context
from django.utils.html import json_script
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from scheduling.selectors.plaster_clock import plaster_clock

register = template.Library()

WORDS: Final[dict[str, str]] = {
    "nothing": gettext_noop("Nothing waits to be sent."),
    "sent_1": gettext_noop("Everything is sent: one entry."),
    "sent_n": gettext_noop("Everything is sent: %(n)s entries."),
    "waiting_1": gettext_noop("One entry waits on this phone."),
    "waiting_n": gettext_noop("%(n)s entries wait on this phone."),
    "choice_1": gettext_noop("One entry needs your choice."),
    "choice_n": gettext_noop("%(n)s entries need your choice."),
    "others": gettext_noop("Entries of another log-in wait on this phone, locked, until it logs in again."),
    "sending": gettext_noop("Sending."),
    "why_signal": gettext_noop("No signal."),
    "why_server": gettext_noop("The service does not answer; it is tried again."),
    "why_access": gettext_noop("This log-in may not send any more: ring the office. Nothing is lost."),
    "why_other": gettext_noop("Another firm or person is logged in."),
    "login": gettext_noop("Log in again as %(name)s to send them"),
    "send_now": gettext_noop("Send now"),
    "list": gettext_noop("What was logged on this phone"),
    "kept": gettext_noop("Kept on this phone at %(at)s."),
    "not_kept": gettext_noop("Not kept: no signal, and this phone is not ready yet. It still stands here."),
    "state_waiting": gettext_noop("waits"),
    "state_sent": gettext_noop("sent"),
    "state_conflict": gettext_noop("needs your choice"),
    "state_refused": gettext_noop("was not taken"),
    "state_gone": gettext_noop("was not taken"),
    "state_failed": gettext_noop("could not be taken by the service; the rest goes on"),
    "mine": gettext_noop("You logged:"),
    "shown": gettext_noop("Your page showed:"),
    "theirs": gettext_noop("Now it says:"),
    "choose_keep": gettext_noop("Keep mine as well"),
    "choose_keep_moved": gettext_noop("It was done as I logged it: keep it"),
    "choose_note": gettext_noop("Keep mine as a note for the office"),
    "choose_leave": gettext_noop("Leave it as it says now"),
    "leave_out": gettext_noop("Leave it out"),
    "put_right": gettext_noop("Put it right"),
    "copy": gettext_noop("Without signal: this is the page as of %(at)s."),
    "today": gettext_noop("Today, "),
    "tomorrow": gettext_noop("Tomorrow, "),
}  # fmt: skip


@register.simple_tag
def queue_words() -> SafeString:
    """The sentences of the queue, in the language of the page."""
    return json_script({name: _(text) for name, text in WORDS.items()}, "queue-words")


@register.simple_tag(takes_context=True)
def seen_by_phone(context: Context) -> SafeString:
    """The job of the page and its stints as shown, by which the service sees what changed meanwhile."""
    job = context.get("job")
    return json_script({"job": str(job.pk) if job else "", "stints": context.get("seen", {})}, "seen")


CLOCK: Final[dict[str, str]] = {
    "due": gettext_noop("Pass %(n)s over section %(s)s is due, until %(until)s."),
    "next": gettext_noop("Next: pass %(n)s over section %(s)s from %(at)s."),
    "start": gettext_noop("Mix section 1 at %(at)s."),
    "all_done": gettext_noop("Every pass is done."),
    "tap_pass": gettext_noop("Pass %(n)s, section %(s)s done (until %(until)s)"),
    "tap_laid": gettext_noop("Section %(s)s laid"),
    "more": gettext_noop("and %(n)s more"),
    "in_min": gettext_noop("In %(n)s min."),
    "left_min": gettext_noop("%(n)s min left."),
    "over_min": gettext_noop("%(n)s min over."),
    "shifted": gettext_noop(
        "Without signal these times follow only from when sections were laid. They are worked out anew, with the "
        "readings, as soon as there is signal."
    ),
    "awake": gettext_noop("The screen stays on while this page is open."),
    "let_dark": gettext_noop("Let it go dark"),
    "stay_on": gettext_noop("Keep the screen on"),
    "dark": gettext_noop("The screen may go dark."),
}


@register.simple_tag(takes_context=True)
def plaster_clock_json(context: Context) -> SafeString:
    """What the clock of the plaster day needs to run on without signal."""
    facts = plaster_clock(context["sheet"], str(context["units"]))
    return json_script({**facts, "words": {name: _(text) for name, text in CLOCK.items()}}, "clock")
