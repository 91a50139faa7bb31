from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from scheduling.models import Crew, Stage
from scheduling.selectors.crews import crews_at_work
from scheduling.selectors.today import Errand, crew_notes, crews_of
from scheduling.words import clock_words, listed, people_words
from shared import access, clock
from shared.models import Firm

WORK: Final[dict[str, str]] = {
    Stage.DRAIN_SETUP: gettext_noop("Set up the pump at %(site)s"),
    Stage.DRAIN_PULL: gettext_noop("Pull the pump at %(site)s"),
    Stage.PREP: gettext_noop("Chip at %(site)s"),
    Stage.BOND: gettext_noop("Bond coat at %(site)s"),
    Stage.BOND_AGAIN: gettext_noop("Second bond coat at %(site)s"),
    Stage.PLASTER: gettext_noop("Plaster %(site)s"),
    Stage.FILL_START: gettext_noop("Start the fill at %(site)s"),
    Stage.FILL_END: gettext_noop("Watch the end of the fill at %(site)s"),
    Stage.START_UP: gettext_noop("Start-up visit at %(site)s"),
}
PAGES: Final[dict[str, tuple[str, str]]] = {
    Stage.PLASTER: ("plaster-day", gettext_noop("Open the plaster day")),
    Stage.FILL_START: ("fill-watch", gettext_noop("Open the fill")),
    Stage.FILL_END: ("fill-watch", gettext_noop("Open the fill")),
    Stage.START_UP: ("start-up", gettext_noop("Open the start-up log")),
}


@dataclass(frozen=True)
class Said:
    """An errand as the note says it."""

    errand: Errand
    leave: str
    work: str
    hours: str
    bring: str
    link: str
    link_words: str
    done_link: str


def today(request: HttpRequest) -> HttpResponse:
    """The morning note of the crews that this member leads; the office reads any crew's by ?crew=."""
    who = access.crew_or_office(request)
    firm = Firm.objects.get()
    wanted = request.GET.get("crew", "")
    now = clock.now()
    crews = crews_of(who, wanted)
    if wanted and who.is_office and not crews:
        raise Http404
    if who.is_office and not crews:
        crews = crews_at_work()
    notes = crew_notes(crews, firm, who.contractor.tz, now)
    if who.is_office and not wanted:
        notes = [note for note in notes if note.filling or any(day.errands for day in note.days)]
    said = [(note, [(day, [errand_said(one, note.crew, firm.units) for one in day.errands]) for day in note.days])
            for note in notes]  # fmt: skip
    shown = {
        "notes": said,
        "crews": crews_at_work() if who.is_office else [],
        "wanted": wanted,
        "today": now.astimezone(who.contractor.tz).date(),
        "units": firm.units,
        "firm": firm,
    }
    return render(request, "site/today.html", shown)


def errand_said(errand: Errand, crew: Crew, units: str) -> Said:
    stint = errand.stint
    site = {"site": stint.job.site.label}
    work = _(WORK[stint.stage]) % site
    if errand.start_up_day is not None:
        work = _("Start-up visit, day %(day)d, at %(site)s") % {"day": errand.start_up_day, **site}
    page, words = PAGES.get(stint.stage, ("", ""))
    done = reverse("stint-done", args=[stint.pk])
    return Said(
        errand=errand,
        leave=clock_words(errand.leave, units),
        work=_("%(work)s, %(people)s.") % {"work": work, "people": people_words(crew.people)},
        hours=_("On site %(starts)s to %(ends)s.")
        % {"starts": clock_words(errand.starts, units), "ends": clock_words(errand.ends, units)},
        bring=listed(list(errand.bring)),
        link=reverse(page, args=[stint.job_id]) if page else done,
        link_words=_(words) if page else _("Done, or found different"),
        done_link=done if page else "",
    )
