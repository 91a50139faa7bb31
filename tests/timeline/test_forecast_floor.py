"""What the made forecasts are measured with: weather in another order, a learner, its score."""

from __future__ import annotations

import numpy as np
import pytest

from jobs.timeline.scores import crps_days
from tests.benchmarks.fill_band_direct import Known, chance_by, crps_of, learn
from tests.benchmarks.fill_band_floor import with_faults
from tests.benchmarks.fill_band_jobs import CLUSTER_DAYS, LATER, STATIONS, long_course
from tests.benchmarks.fill_band_methods import climate_sample
from tests.benchmarks.fill_band_recombined import DAYS_BEFORE, recombined_course, recombined_jobs


def test_a_recombined_year_holds_no_day_of_an_even_cluster() -> None:
    station = STATIONS[1]
    days = {
        day.tobytes(): number - DAYS_BEFORE
        for number, day in enumerate(long_course(station.name).wind_m_s.reshape(-1, 24))
        if DAYS_BEFORE <= number < DAYS_BEFORE + 365
    }
    source = [days[day.tobytes()] for day in recombined_course(station, 3).wind_m_s.reshape(-1, 24)]
    assert all(number // CLUSTER_DAYS % 2 for number in source)
    assert len(set(source)) > 100


def test_the_score_of_chances_is_that_of_the_sample_they_came_from() -> None:
    rng = np.random.default_rng(1)
    for outcome in (3, 9, LATER):
        sample = rng.integers(2, LATER + 1, size=50)
        assert crps_of(chance_by(sample), outcome) == pytest.approx(float(crps_days(sample, outcome)))


def test_a_station_with_all_of_its_faults_is_the_station() -> None:
    for station in STATIONS:
        assert with_faults(station, 1.0).faults == station.faults
        assert with_faults(station, 0.5).faults.shift_h == pytest.approx(0.5 * station.faults.shift_h)
        assert with_faults(station, 0.0).faults.keep == (1.0, 1.0, 1.0, 1.0)


def test_the_learner_gives_chances_that_grow_to_certainty_and_learns_something() -> None:
    """Jobs it learned from are scored better than by a guess that is the same for all."""
    jobs = list(recombined_jobs(1, step=24))
    known = []
    for job in jobs:
        sample = climate_sample(job, 50)
        known.append(Known(job, sample, sample, job.outcome()))
    learner = learn(known, known[::5], with_band=False)
    outcomes = np.array([one.outcome for one in known])
    same = float(np.mean([crps_of(chance_by(outcomes), outcome) for outcome in outcomes]))
    chances = [learner.chance_by(one) for one in known]
    assert all((np.diff(each) >= -1e-12).all() and each[-1] == 1.0 and each[0] == 0.0 for each in chances)
    own = float(np.mean([crps_of(each, outcome) for each, outcome in zip(chances, outcomes, strict=True)]))
    assert own < 0.9 * same
