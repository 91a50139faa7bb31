"""What the page on weather shows: the sources, how each place's forecast stands, the firm's own files."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from django.conf import settings
from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.models import Job, Site, WeatherCell, WeatherFile, WeatherHours
from jobs.models.job import JobState
from jobs.selectors.band_truth import BandTruth, LevelTruth, band_truth
from jobs.selectors.weather import ARCHIVE, ENSEMBLE, NWS, OPEN_METEO, archive_of, cell_key, climate_of, errors_of
from jobs.selectors.weather_files import firm_year, weather_files, why_not_used
from shared.models import Firm

OLD_H: Final = 12.0  # [CP] a forecast older than this is worth a word
GONE_H: Final = 240.0  # after ten days nothing of it is used
LEVEL_WORDS: Final = {"p50": _l("even chance by"), "p80": _l("8 in 10 by"), "p90": _l("9 in 10 by")}
SOURCE_WORDS: Final = {
    ARCHIVE: _l("bundled weather of a typical year, with made forecasts"),
    NWS: _l("US National Weather Service, grid forecast"),
    OPEN_METEO: _l("forecast server with the Open-Meteo form"),
    ENSEMBLE: _l("ensemble server with the Open-Meteo form"),
}
SOURCE_NOTES: Final = {
    ARCHIVE: _l("For trials and where nothing else can be reached. No real forecast: promise nobody a date by it."),
    NWS: _l("Places in the United States; public domain. Rain amounts for about three days, rain chance for seven."),
    OPEN_METEO: _l(
        "Anywhere. The public server is free for non-commercial use only, its data are CC BY 4.0; the server is open "
        "source and can be run by whoever looks after this installation."
    ),
    ENSEMBLE: _l("The same terms. Each member of the ensemble becomes a scenario of the fill band."),
}


@dataclass(frozen=True)
class SourceChoice:
    """A source to choose; *value* is empty for the installation's."""

    value: str
    words: str
    note: str
    chosen: bool


@dataclass(frozen=True)
class PlaceRow:
    """How the forecast of one place stands. *trouble* is the last answer's fault, *state* what it means."""

    sites: tuple[str, ...]
    source: str
    issued_at: dt.datetime | None
    age_h: float | None
    asked_at: dt.datetime | None
    trouble: str
    state: str
    learned_from: int
    past: str
    past_km: float


@dataclass(frozen=True)
class FileRow:
    """A file of the firm's own and what it is used for."""

    file: WeatherFile
    ends: dt.datetime
    use: str


@dataclass(frozen=True)
class WeatherPage:
    choices: tuple[SourceChoice, ...]
    in_force: str
    places: tuple[PlaceRow, ...]
    files: tuple[FileRow, ...]
    truth: BandTruth
    truth_levels: tuple[tuple[str, LevelTruth], ...]
    truth_words: str


def weather_page(firm: Firm, now: dt.datetime) -> WeatherPage:
    sites, files = _open_sites(), weather_files()
    pasts: dict[str, list[str]] = defaultdict(list)
    truth = band_truth()
    return WeatherPage(
        truth=truth,
        truth_levels=tuple((str(LEVEL_WORDS[level.name]), level) for level in truth.levels),
        truth_words=_truth_words(truth),
        choices=_choices(firm),
        in_force=str(SOURCE_WORDS.get(firm.source, firm.source)),
        places=_places(sites, firm.source, now, files, pasts),
        files=tuple(_file_row(file, pasts) for file in files),
    )


def _truth_words(truth: BandTruth) -> str:
    """What follows from the fills so far."""
    return {
        "too few": _("Nothing can be concluded from fewer than %(needed)s fills.") % {"needed": truth.needed},
        "holds": _("The bands hold."),
        "bands are early": _(
            "Pools are full later than the bands said. Look first at the rates of production, then at how often "
            "doubtful mornings are refused, then at the weather."
        ),
        "bands are late": _(
            "Pools are full sooner than the bands said. Look first at the rates of production, then at how often "
            "doubtful mornings are refused, then at the weather."
        ),
    }[truth.health]


def _open_sites() -> list[Site]:
    over = (JobState.FINISHED, JobState.CALLED_OFF)
    pools = Job.objects.exclude(state__in=over).values_list("site_id", flat=True)
    return list(Site.objects.filter(pk__in=list(pools)).order_by("label"))


def _choices(firm: Firm) -> tuple[SourceChoice, ...]:
    usual = SOURCE_WORDS.get(settings.WEATHER_SOURCE, settings.WEATHER_SOURCE)
    first = SourceChoice(
        "",
        _("what the installation chooses: %(source)s") % {"source": usual},
        "",
        firm.weather_source == "",
    )
    rest = (
        SourceChoice(value, str(words), str(SOURCE_NOTES[value]), firm.weather_source == value)
        for value, words in SOURCE_WORDS.items()
    )
    return (first, *rest)


def _places(
    sites: list[Site], source: str, now: dt.datetime, files: list[WeatherFile], pasts: dict[str, list[str]]
) -> tuple[PlaceRow, ...]:
    by_key: dict[tuple[str, str, str], list[Site]] = defaultdict(list)
    for site in sites:
        by_key[cell_key(site, source)].append(site)
    if not by_key:
        return ()
    wanted = Q()
    for name, latitude, longitude in by_key:
        wanted |= Q(source=name, latitude=latitude, longitude=longitude)
    cells = {
        (cell.source, str(cell.latitude), str(cell.longitude)): cell for cell in WeatherCell.objects.filter(wanted)
    }
    rows = WeatherHours.objects.filter(cell__in=cells.values(), kind="forecast").defer("arrays")
    latest = {row.cell_id: row for row in rows.order_by("cell_id", "-issued_at").distinct("cell_id")}
    learned = list(WeatherCell.objects.filter(source=source).exclude(errors=None))
    found = []
    for key in sorted(by_key):
        cell = cells.get(key)
        row = latest.get(cell.pk) if cell is not None else None
        found.append(_place(key, by_key[key], cell, row, now, learned, files, pasts))
    return tuple(sorted(found, key=lambda row: row.sites))


def _place(
    key: tuple[str, str, str],
    sites: list[Site],
    cell: WeatherCell | None,
    row: WeatherHours | None,
    now: dt.datetime,
    learned: list[WeatherCell],
    files: list[WeatherFile],
    pasts: dict[str, list[str]],
) -> PlaceRow:
    station, _shift, km = climate_of(sites[0], key[0])
    own = firm_year(sites[0], km, files) if archive_of(key[0]) is None else None
    if own is not None:
        pasts[str(own.pk)] += [site.label for site in sites]
    age = None if row is None else (now - row.issued_at) / dt.timedelta(hours=1)
    kind = ARCHIVE if archive_of(key[0]) else key[0]
    return PlaceRow(
        sites=tuple(site.label for site in sites),
        source=str(SOURCE_WORDS.get(kind, kind)),
        issued_at=None if row is None else row.issued_at,
        age_h=age,
        asked_at=None if cell is None else cell.asked_at,
        trouble="" if cell is None else cell.failure,
        state=_state(age),
        learned_from=0 if cell is None else errors_of(cell, learned).learned_from,
        past=own.name if own else station.replace("_", " "),
        past_km=own.km if own else km,
    )


def _state(age_h: float | None) -> str:
    if age_h is None:
        return _("No forecast has come yet; dates and plaster days of these sites wait for it.")
    if age_h > GONE_H:
        return _("Nothing of it is left: dates rest on the typical year alone.")
    if age_h > OLD_H:
        return _("It is old: dates rest on it all the same, with its errors of so many days ahead.")
    return ""


def _file_row(file: WeatherFile, pasts: Mapping[str, list[str]]) -> FileRow:
    why, figure = why_not_used(file)
    if why == "short":
        use = _("Not used: it has %(hours)s h, a whole year has 8760.") % {"hours": figure}
    elif why == "gaps":
        use = _("Not used: %(hours)s h lack temperature, humidity, wind or rain; at most 2 %% may.") % {"hours": figure}
    elif pasts.get(str(file.pk)):
        use = _("Stands in for the past of the season at %(sites)s.") % {"sites": ", ".join(pasts[str(file.pk)])}
    else:
        use = _("Not used now: no open job with a forecast source lies nearer to it than to another past.")
    return FileRow(file, file.starts + dt.timedelta(hours=file.count), use)
