"""The population of the back-test: real weather, made forecasts, invented jobs that come true."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from fixtures_demo.forecast_generator import INLAND, NEW_YORK, Faults, Usual, forecast_issued, members_issued
from jobs.timeline.air_rules import AirCourse
from jobs.timeline.crew_room import CrewRoom, FillTask, fill_options, wall_hours
from jobs.timeline.forecast_errors import ForecastErrors
from jobs.timeline.forecast_learning import KeptForecast, learned_errors
from jobs.timeline.slipping import RefusalHabit, SlipJob, slips
from jobs.timeline.weather import HourlyWeather
from jobs.timeline.weather_files import TypicalYear, typical_year

SEED: Final = 20130
FIRST_DAY: Final = date(2013, 1, 1)  # typical years are laid onto the calendar of 2013
ZONE: Final = "America/New_York"
HORIZON_DAY: Final = 45
LATER: Final = HORIZON_DAY + 1
FORECAST_DAYS: Final = 7
SPAN_H: Final = 24 * (HORIZON_DAY + 2)
CLUSTER_DAYS: Final = 21
START_STEP_DAYS: Final = 2
PREP_MOST_H: Final = 40.0
PLASTER_FREE: Final = 0.6
TRUE_CV: Final = 0.25
TRUE_EXTRA_DAY: Final = 0.06
WORKDAY_H: Final = 8.0
IN_SEASON: Final = 0.50
SEASON_SMOOTHING_DAYS: Final = 7
ARCHIVE_DRAWS: Final = range(5, 9)  # the archive keeps four issues a day, other draws than those of the jobs
FIRM: Final = SlipJob()  # the firm's limits, mix and habits; fill time 0, fill at 08:00 (no water crew's room)


@dataclass(frozen=True)
class Station:
    """A station, the climate region whose cluster it shares, and how its forecasts err."""

    name: str
    region: str
    faults: Faults

    @property
    def number(self) -> int:
        return [station.name for station in STATIONS].index(self.name)


STATIONS: Final = (
    Station("greensboro_nc", "Greensboro", INLAND),
    Station("miami_fl", "Miami", INLAND),
    Station("new_york_jfk_2013", "New York", NEW_YORK),
    Station("newark_ewr_2013", "New York", NEW_YORK),
    Station("new_york_lga_2013", "New York", NEW_YORK),
)


@dataclass(frozen=True, eq=False)
class BackTestJob:
    """One job on its first day: what is known, and what comes true."""

    station: Station
    start_day: int
    draw: int
    estimate_h: float
    true_h: float
    room: CrewRoom
    issue: datetime
    pit_u: float
    refusal: RefusalHabit

    @property
    def cluster(self) -> tuple[str, int]:
        return self.station.region, self.start_day // CLUSTER_DAYS

    @property
    def even(self) -> bool:
        """Even clusters are reported, odd ones are for tuning."""
        return self.start_day // CLUSTER_DAYS % 2 == 0

    @property
    def seed(self) -> int:
        return (self.station.number * 366 + self.start_day) * 10 + self.draw

    @property
    def truth(self) -> HourlyWeather:
        """The weather that comes true, from the issue to the end of the horizon."""
        first = int((self.issue - long_course(self.station.name).start) / timedelta(hours=1))
        return _cut(long_course(self.station.name), first, first + SPAN_H)

    @property
    def forecast(self) -> HourlyWeather:
        return forecast_of(self.station, self.start_day, self.draw)

    @property
    def members(self) -> HourlyWeather:
        """A raw ensemble with half the spread it should have."""
        year = long_course(self.station.name)
        seed = SEED + self.seed
        return members_issued(
            year, usual(self.station.name), self.issue, FORECAST_DAYS, seed, faults=self.station.faults
        )

    def outcome(self, refused: bool = False) -> int:
        """The day the pool is full."""
        habit = self.refusal if refused else None
        return int(slips(self.truth, FIRM, self.room, self.true_h, refusal=habit).fill_day[0])


@cache
def year_of(name: str) -> TypicalYear:
    return typical_year(name)


@cache
def usual(name: str) -> Usual:
    return Usual.of(year_of(name).weather)


@cache
def long_course(name: str) -> HourlyWeather:
    """The year with 30 days before and 80 after it, going round."""
    begin = datetime(2012, 12, 2, tzinfo=UTC)
    return year_of(name).on(begin, begin + timedelta(days=30 + 365 + 80))


@cache
def forecast_of(station: Station, start_day: int, draw: int) -> HourlyWeather:
    seed = SEED + (station.number * 366 + start_day) * 10 + draw
    return forecast_issued(
        long_course(station.name), usual(station.name), issue_of(start_day), FORECAST_DAYS, seed, station.faults
    )


def issue_of(start_day: int) -> datetime:
    """05:00 UTC of the day: midnight of standard time."""
    return datetime(2013, 1, 1, 5, tzinfo=UTC) + timedelta(days=start_day)


def jobs_of(station: Station, draws: range, step: int = START_STEP_DAYS) -> Iterator[BackTestJob]:
    """Jobs that begin in the season of the station, both kinds of clusters."""
    season = in_season(station.name)
    for start_day in range(0, 365, step):
        if season[start_day]:
            for draw in draws:
                yield job_of(station, start_day, draw)


def population(even: bool, draws: int, step: int = START_STEP_DAYS) -> list[BackTestJob]:
    """Every job of the even clusters (reported) or of the odd ones (tuning)."""
    return [job for station in STATIONS for job in jobs_of(station, range(draws), step) if job.even == even]


@cache
def errors_of(station: Station) -> ForecastErrors:
    """What an archive of the forecasts of a station teaches: odd clusters only, forecasts that end within theirs."""
    kept = [
        KeptForecast(job.forecast, job.truth)
        for job in jobs_of(station, ARCHIVE_DRAWS, step=1)
        if not job.even and job.start_day % CLUSTER_DAYS <= CLUSTER_DAYS - FORECAST_DAYS
    ]
    return learned_errors(kept, year_of(station.name).weather, FORECAST_DAYS)


def job_of(station: Station, start_day: int, draw: int) -> BackTestJob:
    """A job that begins on a day; *draw* numbers jobs of one day and their forecasts."""
    rng = np.random.default_rng([SEED, station.number, start_day, draw])
    estimate = float(rng.uniform(0.0, PREP_MOST_H))
    true = estimate * float(rng.gamma(1 / TRUE_CV**2, TRUE_CV**2)) + WORKDAY_H * (rng.random() < TRUE_EXTRA_DAY)
    first = FIRST_DAY + timedelta(days=start_day)
    return BackTestJob(
        station=station,
        start_day=start_day,
        draw=draw,
        estimate_h=estimate,
        true_h=float(true),
        room=_room(first, rng),
        issue=issue_of(start_day),
        pit_u=float(rng.random()),
        refusal=RefusalHabit(rng.random((1, LATER))),
    )


def _room(first: date, rng: np.random.Generator) -> CrewRoom:
    weekday = np.array([(first + timedelta(days=day)).weekday() for day in range(LATER)])
    prep = np.zeros((LATER, 24), dtype=np.bool_)
    prep[:, 8:16] = (weekday != 6)[:, None]
    plaster = (rng.random(LATER) < PLASTER_FREE) & (weekday != 6)
    return CrewRoom(ZONE, first, HORIZON_DAY, prep, plaster)


@cache
def in_season(name: str) -> NDArray[np.bool_]:
    """Whether at least half of the 30 days from each day on allow plaster, each taken with the week around it.

    At 40 % the edges of the season make the reported clusters harder than the bounds set for the population (climate
    alone CRPS 1.05-1.25, the forecast taken at its word 1.7-2.0 days).
    """
    reach = range(-SEASON_SMOOTHING_DAYS, SEASON_SMOOTHING_DAYS + 1)
    near = np.mean([np.roll(allowed_days(name), move) for move in reach], axis=0)
    ahead = np.mean([np.roll(near, -move) for move in range(30)], axis=0)
    return np.asarray(ahead >= IN_SEASON)


@cache
def allowed_days(name: str) -> NDArray[np.float64]:
    """1 where the truth allows a plaster day, for each day of the year."""
    course = AirCourse.of(long_course(name), FIRM.limits, FIRM.clock, FIRM.habits)
    every = np.ones((400, 24), dtype=np.bool_)
    room = CrewRoom(ZONE, FIRST_DAY, 380, every, every[:, 0])
    start = long_course(name).start
    wall = wall_hours(ZONE, FIRST_DAY, 381, start)
    options = fill_options(room, FillTask(), start)
    row = np.zeros(1, dtype=np.int_)
    found = [course.plaster_starts(row, wall[day], None, options).allowed.any() for day in range(365)]
    return np.array(found, dtype=np.float64)


def _cut(weather: HourlyWeather, first: int, last: int) -> HourlyWeather:
    names = [name for name in vars(weather) if name != "start"]
    return HourlyWeather(
        weather.start + first * timedelta(hours=1), *(getattr(weather, name)[first:last] for name in names)
    )
