"""What makes no pool, site or pool owner is refused in a sentence, and nothing of the call is kept."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from jobs.models import Job, Observation, Pool, PoolOwner, Site, Survey
from jobs.selectors.pools import pool_figures
from jobs.services.first_call import job_open, pool_measure
from shared.models import AccessToken, AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import RECTANGLE, Cast, make_cast, open_job

SITE: dict[str, Any] = {"label": "Site 03", "latitude": 36.1, "longitude": -79.8, "archive": "greensboro_nc"}
KEPT = (PoolOwner, Site, Pool, Job, Survey, Observation, AccessToken, AuditEntry)
OUTLINE: dict[str, Any] = {"shape": "outline", "profile": [[0.0, 1.0], [8.0, 2.0]]}
SQUARE = [[0, 0], [8, 0], [8, 8], [0, 8]]


def ring_up(cast: Cast, **changes: Any) -> Job:
    """Open a job whose parts are changed as told."""
    return job_open(
        cast.own.contractor,
        by=cast.own.office,
        pool_owner={"name": "Pool owner", **changes.pop("pool_owner", {})},
        site={**SITE, **changes.pop("site", {})},
        pool={**RECTANGLE, **changes.pop("pool", {})},
        **changes,
    )


def kept() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in KEPT}


IMPOSSIBLE_POOLS: dict[str, tuple[dict[str, Any], str]] = {
    "a bow tie": ({**OUTLINE, "points_m": [[0, 0], [8, 8], [8, 0], [0, 8]]}, "crosses or touches itself"),
    "touching itself": (
        {**OUTLINE, "points_m": [[0, 0], [8, 0], [4, 4], [8, 8], [0, 8], [4, 4]]},
        "crosses or touches",
    ),
    "two points": ({**OUTLINE, "points_m": [[0, 0], [8, 0]]}, "2 different points; allowed are 3 or more"),
    "one point thrice": ({**OUTLINE, "points_m": [[1, 1], [1, 1], [1, 1]]}, "allowed are 3 or more"),
    "no point": ({**OUTLINE, "points_m": []}, "points"),
    "points on a line": ({**OUTLINE, "points_m": [[0, 0], [4, 0], [8, 0]]}, "crosses or touches|encloses less"),
    "points that are no pairs": ({**OUTLINE, "points_m": [[0, 0, 0], [1, 1, 1], [2, 0, 0]]}, "rows of 2 numbers: x, y"),
    "points that are no numbers": ({**OUTLINE, "points_m": [["a", "b"], [1, 1], [2, 0]]}, "rows of 2 numbers: x, y"),
    "an endless point": ({**OUTLINE, "points_m": [*SQUARE[:3], [0, float("inf")]]}, "must be a number"),
    "a profile that ends early": ({"profile": [[0.0, 1.0], [8.0, 2.0]]}, "profile"),
    "a profile that runs backwards": ({"profile": [[0.0, 1.0], [6.0, 1.2], [5.0, 1.5], [9.0, 2.0]]}, "profile"),
    "a profile that begins late": ({"profile": [[1.0, 1.0], [9.0, 2.0]]}, "profile"),
    "a profile of one station": ({"profile": [[0.0, 1.0]]}, "profile"),
    "no profile": ({"profile": []}, "profile"),
    "a profile of nothing": ({"profile": None}, "profile"),
    "a depth above the water": ({"profile": [[0.0, -1.0], [9.0, 2.0]]}, "allowed is 0 to 8 m"),
    "a bottomless pool": ({"profile": [[0.0, 1.0], [9.0, 80.0]]}, "allowed is 0 to 8 m"),
    "a dry pool": ({"profile": [[0.0, 0.0], [9.0, 0.0]]}, "left|depth|water"),
    "a negative length": ({"length_m": -9.0}, "length of the pool is -9 m; allowed is 0.5 to 100 m"),
    "a width of nothing": ({"width_m": 0.0}, "width of the pool is 0 m; allowed is 0.5 to 100 m"),
    "a lake": ({"length_m": 900.0}, "length of the pool is 900 m; allowed is 0.5 to 100 m"),
    "no length": ({"length_m": None}, "length is missing"),
    "not a number": ({"width_m": float("nan")}, "width of the pool must be a number"),
    "a stadium wider than long": ({"shape": "stadium", "width_m": 9.5}, "at least its width"),
    "a shape of its own": ({"shape": "hexagon"}, "hexagon"),
    "a cove deeper than the pool": ({"cove_radius_m": 1.0, "profile": [[0.0, 0.5], [9.0, 2.0]]}, "radius of the cove"),
    "a tile band to the floor": ({"tile_band_m": 2.0}, "allowed is 0 to 1.5 m"),
    "steps that fill the pool": ({"steps": [[4.5, 1.0, 5.0, 6]]}, "check the steps"),
    "half a step": ({"steps": [[2.0, 0.3, 0.3, 2.5]]}, "whole numbers"),
    "a step of three figures": ({"steps": [[2.0, 0.3, 0.3]]}, "steps"),
    "fittings as large as the pool": ({"fittings_m2": 400.0}, "check the tile band and the fittings"),
    "built in the future": ({"built_year": 12000}, "year"),
}


@pytest.mark.parametrize("what", IMPOSSIBLE_POOLS)
def test_an_impossible_pool_is_refused_and_nothing_is_kept(cast: Cast, what: str):
    pool, sentence = IMPOSSIBLE_POOLS[what]
    with acting_for(cast.own.contractor.pk):
        before = kept()
        with pytest.raises(ValidationError, match=sentence):
            ring_up(cast, pool=pool)
        assert kept() == before


IMPOSSIBLE_SITES: dict[str, tuple[dict[str, Any], str]] = {
    "an unknown zone": ({"zone": "Mars/Olympus"}, "“Mars/Olympus” is not a time zone; allowed are IANA names"),
    "a zone that is a path": ({"zone": "../../etc/passwd"}, "is not a time zone"),
    "no zone": ({"zone": ""}, "blank"),
    "north of the pole": ({"latitude": 91.0}, "Latitude is 91 °; allowed is -90 to 90 °"),
    "no longitude": ({"longitude": float("nan")}, "Longitude must be a number"),
    "a dry hose": ({"hose_flow_l_min": 0.0}, "Flow of one hose is 0 L/min; allowed is 2 to 500 L/min"),
    "no hose": ({"hoses": 0}, "Hoses is 0; allowed is 1 to 10"),
    "a blocked drain": ({"discharge_limit_l_min": 0.0}, "Discharge limit is 0 L/min; allowed is 5 to 5000 L/min"),
    "quiet all day": ({"quiet_until_min": 1200, "quiet_from_min": 480}, "Quiet hours leave no time to work"),
    "quiet at the 25th hour": ({"quiet_from_min": 1500}, "Quiet from is 1500 min; allowed is 0 to 1440 min"),
    "weather of nowhere": ({"archive": "nowhere"}, "no weather is bundled under 'nowhere'"),
    "weather of a path": ({"archive": "../weather/greensboro_nc"}, "no weather is bundled"),
    "a shift that is no number": ({"archive": "greensboro_nc:soon"}, "shift"),
    "no name": ({"label": ""}, "blank"),
}


@pytest.mark.parametrize("what", IMPOSSIBLE_SITES)
def test_an_impossible_site_is_refused_and_nothing_is_kept(cast: Cast, what: str):
    site, sentence = IMPOSSIBLE_SITES[what]
    with acting_for(cast.own.contractor.pk):
        before = kept()
        with pytest.raises(ValidationError, match=sentence):
            ring_up(cast, site=site)
        assert kept() == before


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"pool_owner": {"name": ""}}, "blank"),
        ({"pool_owner": {"email": "no address"}}, "valid email"),
        ({"pool_owner": {"language": "tlh"}}, "tlh"),
        ({"answers": {"feel_grit": 1}}, "allowed is 50 to 2000 grit"),
        ({"finish": "gold"}, "gold"),
    ],
)
def test_the_rest_of_the_call_is_checked_too(cast: Cast, changes: dict[str, Any], sentence: str):
    with acting_for(cast.own.contractor.pk):
        before = kept()
        with pytest.raises(ValidationError, match=sentence):
            ring_up(cast, **changes)
        assert kept() == before


def test_a_refused_call_uses_up_no_number(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        first = ring_up(cast)
        with pytest.raises(ValidationError):
            ring_up(cast, pool={"length_m": -1})
        with pytest.raises(ValidationError):
            ring_up(cast, answers={"feel_grit": 1})
        assert ring_up(cast).number == first.number + 1


def test_what_the_pool_owner_said_is_the_first_survey(cast: Cast):
    with acting_for(cast.own.contractor.pk):
        job = ring_up(cast, answers={"pool_age_years": 31, "owner_says_painted": "yes"})
        survey = Survey.objects.get(pool=job.pool)
        assert {made.name for made in survey.observations.all()} == {"pool_age_years", "owner_says_painted"}


def test_a_pool_is_measured_anew_only_when_its_geometry_holds(cast: Cast):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        before = pool_figures(Pool.objects.get(pk=job.pool_id))
        with pytest.raises(ValidationError, match="profile"):
            pool_measure(job.pool, by="office", length_m=12.0)
        kept_pool = Pool.objects.get(pk=job.pool_id)
        assert pool_figures(kept_pool) == before
        pool_measure(kept_pool, by="office", length_m=12.0, profile=[[0.0, 1.0], [12.0, 2.0]])
        entry = AuditEntry.objects.get(what="pool measured")
        assert (entry.before["length_m"], entry.after["length_m"]) == (9.0, 12.0)
        assert pool_figures(Pool.objects.get(pk=job.pool_id)).plan_m2 == pytest.approx(12.0 * 4.5)


@pytest.mark.django_db(transaction=True)
def test_two_calls_at_once_get_two_numbers(transactional_db: None):
    cast = make_cast()
    numbers: list[int] = []

    def call() -> None:
        try:
            with acting_for(cast.own.contractor.pk):
                numbers.append(ring_up(cast).number)
        finally:
            connection.close()

    threads = [threading.Thread(target=call) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(numbers) == [101, 102, 103, 104]
