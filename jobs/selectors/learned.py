"""What the firm's own finished work says about its rates, and the rates that follow from it."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict

from jobs.models import LearningReset, Measured, Outcome
from jobs.timeline.learned import LATEST, Learned, learned, prior_of, rates_learned
from jobs.timeline.rates import Rates, rates_of
from shared.models import Firm


def firm_figures(firm: Firm) -> Rates:
    """The figures that the firm set, else the usual ones of the trade: before anything is learned."""
    return rates_of({name: float(value) for name, value in firm.rates.items()})


def firm_rates(firm: Firm) -> Rates:
    """The rates in use: the figures in force, drawn to what the firm's own jobs took."""
    return rates_learned(firm_figures(firm), learned_all(firm))


def learned_all(firm: Firm) -> dict[str, Learned]:
    """What was learned of everything that is measured, two queries."""
    figures = firm_figures(firm)
    found = outcomes_counting()
    return {
        what: learned([row.took_h / row.expected_h for row in found.get(what, ())], prior_of(what, figures))
        for what in Measured.values
    }


def rate(firm: Firm, what: str) -> Learned:
    """Hours that *what* (a :class:`jobs.models.Measured`) takes here over those of the figure in force."""
    return learned_all(firm)[what]


def set_time(firm: Firm) -> Learned:
    """The firm's set time over that of the figure in force; `next_sd_log` is the spread of the next day's."""
    return rate(firm, Measured.SET)


def learned_since() -> dict[str, LearningReset]:
    """The last new beginning of each, where there was one."""
    rows = LearningReset.objects.order_by("what", "-at", "-id").distinct("what")
    return {row.what: row for row in rows}


def outcomes_counting() -> dict[str, list[Outcome]]:
    """Outcomes that count, by what was measured, oldest first, the newest 60 of each."""
    since = learned_since()
    begin = dt.datetime.min.replace(tzinfo=dt.UTC)
    kept: dict[str, list[Outcome]] = defaultdict(list)
    newest = Outcome.objects.filter(left_out="").order_by("-at", "-id").only("what", "at", "took_h", "expected_h")
    for row in newest[: LATEST * len(Measured.values)]:
        if row.at > (since[row.what].at if row.what in since else begin) and len(kept[row.what]) < LATEST:
            kept[row.what].append(row)
    return {what: rows[::-1] for what, rows in kept.items()}
