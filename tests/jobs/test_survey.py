"""The survey's page: every answer moves the picture, may be taken back, and is refused in a sentence."""

from __future__ import annotations

import re

import pytest

from jobs.condition.interior_surface import identify
from jobs.condition.observations import CATALOGUE
from jobs.models import Observation, Survey
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    """A job nobody has looked at."""
    job = open_job(cast.own, agreed=False)
    with acting_for(cast.own.contractor.pk):
        Observation.objects.all().delete()
        Survey.objects.all().delete()
    return job


def url(job):
    return f"/jobs/{job.pk}/survey/"


def answer(office, job, name, value, **headers):
    return office.post(url(job), {"name": name, "value": value}, headers=headers)


def page(office, job):
    return office.get(url(job)).content.decode()


def shares(html):
    """{label: words of the share} of all bars."""
    rows = re.findall(r'<th scope="row">([^<]*)</th><td class="bar">.*?</td><td class="n">([^<]*)</td>', html)
    return {label: words.replace("&lt;", "<").replace("&gt;", ">") for label, words in rows}


def made(cast):
    with acting_for(cast.own.contractor.pk):
        return {o.name: o.value for o in Observation.objects.all()}


def test_before_the_first_answer_the_page_shows_the_usual_shares_and_keeps_nothing(cast, office, job):
    html = page(office, job)
    prior = identify([])
    assert shares(html)["plaster"] == f"{prior.kinds['plaster']:.0%}".replace("%", " %")
    assert "usual shares of the trade" in html
    with acting_for(cast.own.contractor.pk):
        assert not Survey.objects.exists()


def test_questions_come_in_the_order_of_what_they_tell_per_minute_and_the_rest_last(office, job):
    html = page(office, job)
    asked = re.findall(r'id="q-(\w+)"', html)
    dry_only = {o.name for o in CATALOGUE if o.needs_empty_pool}
    wanted = [s.name for s in identify([], not_now=dry_only).suggestions]
    assert asked == wanted
    assert set(asked) == {o.name for o in CATALOGUE} - dry_only


# Checks by hand of the trade facts (common practice): a proud tile line alone puts two coats or more above 90 %.
def test_a_proud_tile_line_moves_the_picture_to_two_coats_or_more(cast, office, job):
    assert answer(office, job, "tile_line", "proud").status_code == 302
    found = shares(page(office, job))
    above = [float(found[label].split()[0].strip("<>")) for label in ("2", "3", "4 or more") if "<" not in found[label]]
    assert sum(above) >= 89
    assert made(cast) == {"tile_line": "proud"}


# Layered chips of five colours put paint above 95 % (common practice).
def test_five_layers_of_colour_may_be_typed_by_name_and_are_counted(cast, office, job):
    answer(office, job, "chip_colours", "white, blue, light blue, green, white")
    html = page(office, job)
    assert made(cast) == {"chip_colours": ["white", "blue", "light blue", "green", "white"]}
    assert float(shares(html)["painted"].split()[-2].strip("<>")) > 95
    assert "white, blue, light blue, green, white" in html


def test_the_same_answer_by_script_gives_the_fragment_of_the_same_view(office, job):
    fragment = answer(office, job, "tile_line", "flush", hx_request="true")
    assert fragment.status_code == 200
    said = fragment.content.decode()
    assert "<html" not in said
    assert 'id="finding"' in said
    whole = page(office, job)
    assert shares(said) == shares(whole)


def test_the_picture_shows_where_it_stood_before_the_last_answer(office, job):
    answer(office, job, "tile_line", "flush")
    before = shares(page(office, job))
    answer(office, job, "wall_profile", "swells")
    html = page(office, job)
    marks = re.findall(r'<th scope="row">([^<]*)</th>.*?<td class="n">[^<]*</td><td class="n soft">([^<]*)</td>', html)
    assert {label: words.replace("&lt;", "<").replace("&gt;", ">") for label, words in marks} == before


def test_an_answer_is_changed_by_answering_again_and_undone_by_taking_it_back(cast, office, job):
    start = shares(page(office, job))
    answer(office, job, "tile_line", "proud")
    answer(office, job, "tile_line", "flush")
    assert made(cast) == {"tile_line": "flush"}
    office.post(url(job), {"name": "tile_line", "do": "take-back"})
    assert made(cast) == {}
    assert shares(page(office, job)) == start


def test_reasons_for_and_against_and_what_would_settle_it_are_said(office, job):
    answer(office, job, "tile_line", "flush")
    answer(office, job, "feel_grit", "60")
    html = page(office, job)
    assert "<b>for</b>" in html
    assert "it does not prove a single coat" in html
    assert "What would settle it" in html
    assert "ask the pool owner first" in html


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("feel_grit", "20", "Feel, as a grit of abrasive paper (P scale) is 20 grit; allowed is 50 to 2000 grit."),
        ("pool_age_years", "old", "Age of the pool is “old”; it must be a number, 0 to 150 years."),
        ("straight_edge_step_mm", "5", "is 5 in; allowed is 0 to 3.94 in."),
        ("chip_colours", "1.5", "it must be a whole number"),
        ("tile_line", "crooked", "Select a valid choice"),
        ("water_loss_mm_d", "", "is missing; allowed is -1.97 to 7.87 in/day."),
    ],
)
def test_a_refusal_keeps_what_was_typed_and_names_range_and_unit(cast, office, job, name, typed, sentence):
    refused = answer(office, job, name, typed)
    html = refused.content.decode()
    assert refused.status_code == 422
    assert sentence in html
    if name != "tile_line":
        assert f'value="{typed}"' in html or typed == ""
    assert made(cast) == {}


def test_an_unknown_observation_is_a_bad_request(office, job):
    assert answer(office, job, "colour_of_the_house", "red").status_code == 400


def test_what_needs_the_empty_pool_is_refused_until_the_survey_is_dry(cast, office, job):
    answer(office, job, "tile_line", "flush")
    html = page(office, job)
    assert 'id="q-hollow_share"' not in html
    assert "share of the area that sounds hollow" in html
    refused = answer(office, job, "hollow_share", "12")
    assert refused.status_code == 422
    assert "hollow_share" not in made(cast)

    assert office.post(f"/jobs/{job.pk}/survey/dry/").status_code == 302
    html = page(office, job)
    assert 'id="q-hollow_share"' in html
    assert "Empty pool: falls and rising groundwater" in html
    assert answer(office, job, "hollow_share", "12").status_code == 302
    with acting_for(cast.own.contractor.pk):
        latest = Survey.objects.order_by("taken_at", "id").last()
        assert latest.dry
        assert {o.name for o in latest.observations.all()} == {"tile_line", "hollow_share"}
        assert Survey.objects.count() == 2


def test_beginning_the_dry_survey_twice_makes_one(cast, office, job):
    office.post(f"/jobs/{job.pk}/survey/dry/")
    office.post(f"/jobs/{job.pk}/survey/dry/")
    with acting_for(cast.own.contractor.pk):
        assert Survey.objects.filter(dry=True).count() == 1


def test_a_share_given_as_a_fraction_is_refused(office, job):
    office.post(f"/jobs/{job.pk}/survey/dry/")
    html = answer(office, job, "hollow_share", "0.12").content.decode()
    assert "give per cent of the area" in html


def test_an_answer_in_length_reads_in_the_units_in_which_it_was_typed(office, job):
    answer(office, job, "straight_edge_step_mm", "1/2")
    assert "Step of the surface past the tile under a straight edge: 0.50 in" in page(office, job)


def test_layers_of_a_pilot_hole_are_thicknesses_and_thin_ones_are_no_coats(cast, office, job):
    office.post(f"/jobs/{job.pk}/survey/dry/")
    answer(office, job, "pilot_layers", "0.5 in, 12 mm, 1 mm")
    assert made(cast) == {"pilot_layers": [12.7, 12.0, 1.0]}
    assert shares(page(office, job))["2"].startswith(("9", "> 99"))


@pytest.mark.parametrize("name", ["chip_colours", "chip_behaviour"])
def test_the_caution_stands_at_the_step(office, job, name):
    html = page(office, job)
    question = html[html.index(f'id="q-{name}"') :]
    assert "no dry sanding" in question[: question.index("</form>")]


def test_contradicting_answers_are_pointed_out(office, job):
    answer(office, job, "tile_line", "stepped_in")
    answer(office, job, "straight_edge_step_mm", "1.5")
    assert "these do not fit each other, look again" in page(office, job)


def test_the_number_of_queries_does_not_grow_with_the_answers(office, job, django_assert_max_num_queries):
    answer(office, job, "tile_line", "flush")
    with django_assert_max_num_queries(28) as few:  # two of them open and close the row of the log-in
        page(office, job)
    count = len(few.captured_queries)
    for name, value in (("feel_grit", "60"), ("cracks", "none"), ("stains", "none"), ("pool_age_years", "20")):
        answer(office, job, name, value)
    with django_assert_max_num_queries(count):
        page(office, job)
