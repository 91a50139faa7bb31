"""An invented mail of each kind, for the preview of a firm's own words."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext as _

from scheduling.models import NoticeKind
from scheduling.notice_texts import Footer, Words, html_body, subject_line, text_body
from scheduling.selectors.notice_lines import FILL_CARE, KEEP_AWAY
from scheduling.words import clock_words, day_words
from shared.models import Contractor, Firm


@dataclass(frozen=True)
class Preview:
    subject: str
    text: str
    html: str


def preview(words: Words, kind: str, language: str, contractor: Contractor, firm: Firm, today: dt.date) -> Preview:
    """What a receiver would read; site and names are invented."""
    with translation.override(language):
        day = today + dt.timedelta(days=9)
        lines = sample_lines(kind, day, firm.units)
        page = f"{settings.SITE_URL}/..."
        values = {"name": _("Pool owner of Site 07"), "firm": contractor.name, "phone": firm.phone, "site": "Site 07"}
        values |= {"day": day_words(day), "page": page}
        footer = Footer(
            _("You get this because %(firm)s works on your pool.") % {"firm": contractor.name},
            _("Choose or stop these mails:"),
            page,
        )
        subject = subject_line(words, values)
        return Preview(
            subject,
            text_body(words, lines, values, footer.lines),
            html_body(words, lines, values, footer, language, subject),
        )


def sample_lines(kind: str, day: dt.date, units: str) -> list[str]:
    before = day_words(day - dt.timedelta(days=2))
    at = _("%(day)s at %(at)s") % {"day": day_words(day), "at": clock_words(dt.time(7, 0), units)}
    late = _("%(day)s at %(at)s") % {"day": day_words(day), "at": clock_words(dt.time(20, 30), units)}
    site = {"where": "Site 07, Alder Court 4", "site": "Site 07", "number": 7, "day": day_words(day), "n": "3"}
    moved = _("Your pool will be full on %(new)s, not on %(old)s.") % {"new": day_words(day), "old": before}
    samples = {
        NoticeKind.FILL_TOMORROW: [
            _("Filling starts on %(when)s and does not stop until the pool is full.") % {"when": at}
            + f" {_(KEEP_AWAY)}"
        ],
        NoticeKind.FILLING: [
            _("%(where)s: the water has been running since %(when)s. Be there by %(by)s; most likely full on %(even)s.")
            % {**site, "when": at, "by": late, "even": late}
        ],
        NoticeKind.BE_THERE: [
            _("%(where)s: be there by %(by)s. One chance in ten that it is full by then; most likely %(even)s.")
            % {**site, "by": late, "even": late}
        ],
        NoticeKind.MOVED: [moved + " " + _("Why: %(why)s.") % {"why": _("the weather")}],
        NoticeKind.DOUBT: [
            _("%(site)s, job %(number)s: it is doubtful whether anybody can plaster on %(day)s.") % site
        ],
        NoticeKind.WATER_TEST: [_("%(where)s: water test of day %(n)s, %(day)s.") % site],
        NoticeKind.DUTIES: [
            _("Leave the water running until we stop it. Nobody in the pool, no pets; keep the gate shut.")
        ],
        NoticeKind.DIGEST: [
            _("%(where)s: start the fill on %(when)s.") % {**site, "when": at} + f" {_(FILL_CARE)}",
            _("No stint today, and nothing to decide."),
        ],
    }
    return [str(line) for line in samples[NoticeKind(kind)]]
