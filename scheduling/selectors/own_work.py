"""What the firm's own finished work says, as its page shows it."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _

from jobs.models import LearningReset, Measured, Outcome
from jobs.selectors.learned import firm_figures, learned_since, outcomes_counting
from jobs.timeline.learned import COUNTS_LITTLE, FOLLOWS, Learned, learned, prior_of, rates_learned
from jobs.timeline.rates import RATE_CATALOGUE, Rates
from scheduling.drawing.own_work import WorkRow, own_work_chart
from scheduling.selectors.firm_page import rate_words
from shared.models import Firm

SHOWN: Final = 120  # entries of the list


@dataclass(frozen=True)
class Entry:
    """One outcome, and how much it counts; None where it does not."""

    outcome: Outcome
    counts: float | None

    @property
    def unusual(self) -> bool:
        return self.counts is not None and self.counts < COUNTS_LITTLE

    @property
    def percent(self) -> int:
        """Longer (or, below 0, shorter) than the figure in force [%]."""
        return round(100 * (self.outcome.took_h / self.outcome.expected_h - 1))


@dataclass(frozen=True)
class OwnFigure:
    """One thing that is measured: the figure in force, the firm's own, what is in use and how much own work counts."""

    what: str
    words: str
    figures: tuple[tuple[str, str, str], ...]  # label, in force, in use
    found: Learned
    since: LearningReset | None
    entries: tuple[Entry, ...]

    @property
    def percent(self) -> int:
        return round(100 * (self.found.factor - 1))

    @property
    def range_percent(self) -> tuple[int, int]:
        return round(100 * (self.found.low - 1)), round(100 * (self.found.high - 1))

    @property
    def weight_percent(self) -> int:
        return round(100 * self.found.own_weight)


def own_figures(firm: Firm) -> list[OwnFigure]:
    """Everything that is measured, in the order of the work; four queries."""
    figures = firm_figures(firm)
    counting, since = outcomes_counting(), learned_since()
    shown: dict[str, list[Outcome]] = defaultdict(list)
    for row in Outcome.objects.select_related("job__site").order_by("-at", "-id")[:SHOWN]:
        shown[row.what].append(row)
    found = []
    for what in Measured.values:
        rows = counting.get(what, [])
        answer = learned([row.took_h / row.expected_h for row in rows], prior_of(what, figures))
        weight = dict(zip((row.pk for row in rows), answer.weights, strict=True))
        entries = tuple(Entry(row, weight.get(row.pk)) for row in shown[what])
        in_use = rates_learned(figures, {what: answer})
        pairs = _pairs(what, figures, in_use, firm.units)
        found.append(OwnFigure(what, str(Measured(what).label), pairs, answer, since.get(what), entries))
    return found


def _pairs(what: str, figures: Rates, in_use: Rates, units: str) -> tuple[tuple[str, str, str], ...]:
    """The rates that follow, each as in force and as in use."""
    rows = []
    for name in FOLLOWS[what]:
        entry = RATE_CATALOGUE[name]
        said = [rate_words(entry.unit, float(getattr(each, name)), units) for each in (figures, in_use)]
        rows.append((entry.label, said[0], said[1]))
    return tuple(rows)


def own_work_svg(figures: list[OwnFigure]) -> str:
    """The chart of all of them; the page gives the same as a table."""
    told = [each for each in figures if each.found.n]
    desc = "; ".join(
        _("%(what)s: %(percent)+d %%, %(n)d entries") % {"what": each.words, "percent": each.percent, "n": each.found.n}
        for each in told
    )
    rows = [
        WorkRow(
            each.words,
            [
                (row.outcome.took_h / row.outcome.expected_h, row.counts)
                for row in each.entries
                if row.counts is not None
            ],
            each.found.factor,
            each.found.low,
            each.found.high,
        )
        for each in told
    ]
    return own_work_chart(
        rows,
        title=_("Hours taken over hours expected"),
        desc=desc or _("Nothing is measured yet."),
        head=_("hours taken over hours expected by the figure in force"),
    )
