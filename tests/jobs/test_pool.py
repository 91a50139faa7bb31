"""The pool's page: measures in the firm's units, the result beside them, refusals in the words of the geometry."""

from __future__ import annotations

import re

import pytest

from jobs.models import Pool, Shape
from shared.tenancy.context import acting_for
from tests.broker import dates_asked_for
from tests.cast import client_of, open_job

# A plain box by hand: 32.8084 ft x 16.4042 ft x 6.5617 ft is 10 m x 5 m x 2 m.
BOX = {
    "shape": "rectangle",
    "length_m": "32.81",
    "width_m": "16.40",
    "profile": "0, 6.56\nend, 6.56",
    "axis_deg": "0",
    "tile_band_m": "0",
    "cove_radius_m": "0",
    "steps": "",
    "benches": "",
    "fittings_m2": "0",
    "built_year": "",
}


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own, agreed=False)


def url(job):
    return f"/jobs/{job.pk}/pool/"


def keep(office, job, **changes):
    return office.post(url(job), {**BOX, "do": "save", **changes})


def attempt(office, job, **changes):
    return office.post(url(job), {**BOX, "do": "try", **changes})


def pool_of(cast):
    with acting_for(cast.own.contractor.pk):
        return Pool.objects.get()


def figures(html):
    rows = re.findall(r'<th scope="row">([^<]*)</th><td>([^<]*)</td>', html)
    return {name: words.replace("\N{NO-BREAK SPACE}", " ") for name, words in rows}


def test_a_box_has_the_surface_and_water_of_plane_geometry_in_both_unit_sets(office, job):
    """10 x 5 x 2 m: floor 50, walls 60, water 100 m3; 1 m2 is 10.7639 sq ft, 1 m3 is 264.172 gal [NIST HB 44]."""
    found = figures(attempt(office, job).content.decode())
    assert found["Surface to plaster"] == "1184 sq ft (110 m²)"
    assert found["Water"] in ("26,400 gal (100.0 m³)", "26,400 gal (99.9 m³)")
    assert found["Edge of the pool"] == "98.4 ft (30.0 m)"
    assert found["Water surface"] == "538 sq ft (50 m²)"


def test_trying_keeps_nothing_and_saving_keeps_si(cast, office, job):
    before = pool_of(cast)
    attempt(office, job)
    assert pool_of(cast).length_m == before.length_m
    assert keep(office, job).status_code == 302
    kept = pool_of(cast)
    assert kept.length_m == pytest.approx(10.0005, abs=1e-4)
    assert kept.profile == [
        [0.0, pytest.approx(1.9995, abs=1e-4)],
        [pytest.approx(10.0005, abs=1e-4), kept.profile[0][1]],
    ]


def test_what_is_sent_back_untouched_changes_no_digit(cast, office, job):
    before = pool_of(cast)
    html = office.get(url(job)).content.decode()
    typed = dict(re.findall(r'<input[^>]* name="(\w+)"[^>]* value="([^"]*)"', html))
    typed |= dict(re.findall(r'<textarea name="(\w+)"[^>]*>\n?([^<]*)</textarea>', html))
    typed.pop("csrfmiddlewaretoken", None)
    assert office.post(url(job), {**typed, "shape": "rectangle", "do": "save"}).status_code == 302
    after = pool_of(cast)
    for field in ("length_m", "width_m", "profile", "tile_band_m", "steps", "benches", "fittings_m2", "cove_radius_m"):
        assert getattr(after, field) == getattr(before, field), field


def test_the_result_by_script_is_the_fragment_of_the_same_view(office, job):
    whole = attempt(office, job).content.decode()
    part = office.post(url(job), {**BOX, "do": "try"}, headers={"hx-request": "true"}).content.decode()
    assert "<html" not in part
    assert figures(part) == figures(whole)
    assert part.count("<svg") == 2


def test_an_outline_typed_point_by_point_has_the_area_of_its_corners(cast, office, job):
    """An L of 20 x 20 ft without a 10 x 10 ft corner: 300 sq ft (plane geometry)."""
    points = "0 0\n20 0\n20 10\n10 10\n10 20\n0 20"
    outline = {"shape": "outline", "points_m": points, "profile": "0, 5\nend, 5", "length_m": "", "width_m": ""}
    assert figures(attempt(office, job, **outline).content.decode())["Water surface"] == "300 sq ft (28 m²)"
    assert keep(office, job, **outline).status_code == 302
    assert pool_of(cast).shape == Shape.OUTLINE
    assert len(pool_of(cast).points_m) == 6


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"length_m": "0.1"}, "Length or diameter is 0.1 ft; allowed is 1.64 to 328.08 ft."),
        ({"width_m": ""}, "Width is missing; allowed is 1.64 to 328.08 ft."),
        ({"profile": "0, 6"}, "Depths along the pool: 1 lines; allowed is 2 to 60 lines."),
        ({"profile": "0, 3\n20, 6"}, "the floor profile runs from 0 to 20 ft; allowed is 0 to 32.81 ft"),
        ({"profile": "0, 3\n20, 6\n10, 7\nend, 8"}, "distances of the floor profile must ascend"),
        ({"profile": "0, 3\nend, 40"}, "line 2: depth is 40; allowed is 0 to 26.25 ft."),
        ({"profile": "0, 3\nend; deep"}, "line 2: depth is deep; allowed is 0 to 26.25 ft."),
        ({"tile_band_m": "9"}, "Height of the tile band is 9 ft; allowed is 0 to 4.92 ft."),
        ({"cove_radius_m": "3.2", "profile": "0, 1\nend, 6"}, "allowed is 0 to the least depth, 1 ft"),
        ({"steps": "6, 1, 1"}, "it needs 4 numbers: width, rise, tread, number of steps"),
        ({"steps": "6, 1, 1, 2.5"}, "number of steps is 2.5; allowed is 1 to 40"),
        ({"benches": "8, 99, 2"}, "depth from front to wall is 99; allowed is 0.164 to 16.4 ft."),
        ({"fittings_m2": "5000"}, "surface left to plaster is -"),
        ({"built_year": "1066"}, "Year in which it was built is 1066; allowed is 1850 to 2200."),
        ({"shape": "stadium", "length_m": "10", "width_m": "20"}, "allowed is at least its width, 20 ft"),
        ({"shape": "outline", "points_m": "0 0\n1 1"}, "Points of the outline: 2 lines; allowed is 3 to 400 lines."),
        ({"shape": "outline", "points_m": "0 0\n20 20\n20 0\n0 20"}, "the outline crosses or touches itself"),
    ],
)
@pytest.mark.parametrize("do", ["save", "try"])
def test_measures_that_make_no_pool_are_refused_in_feet_and_nothing_is_lost(cast, office, job, changes, sentence, do):
    before = pool_of(cast)
    answer = office.post(url(job), {**BOX, "do": do, **changes})
    html = answer.content.decode()
    assert sentence in html
    assert answer.status_code == (422 if do == "save" else answer.status_code)
    for name, typed in {**BOX, **changes}.items():
        if typed and name != "shape":
            assert typed in html.replace("\r", ""), name
    after = pool_of(cast)
    assert (after.length_m, after.profile, after.shape) == (before.length_m, before.profile, before.shape)


def test_steps_benches_cove_and_tile_band_stand_in_the_side_view(office, job):
    extras = {"steps": "6.5, 0.8, 1, 3", "benches": "9, 1.5, 1.6", "cove_radius_m": "1", "tile_band_m": "0.5"}
    html = attempt(office, job, **extras).content.decode()
    side = html[html.index('aria-labelledby="side-title') :]
    assert side.count('class="built"') == 2
    assert 'class="tile"' in side
    assert 'class="tile-line"' in side
    assert "in the water" in html


def test_keeping_measures_asks_for_the_dates_again_after_the_commit(office, job, django_capture_on_commit_callbacks):
    dates_asked_for()
    with django_capture_on_commit_callbacks(execute=True):
        keep(office, job)
    assert dates_asked_for() == [str(job.contractor_id)]


def test_a_metric_firm_reads_and_types_metres(cast):
    office = client_of(cast.other.office)
    job = open_job(cast.other, agreed=False)
    metric = {"length_m": "10", "width_m": "5", "profile": "0, 2\nend, 2"}
    html = attempt(office, job, **metric).content.decode()
    assert figures(html)["Surface to plaster"] == "110 m² (1184 sq ft)"
    assert "Grid: 1 m." in html
