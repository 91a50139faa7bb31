"""The first call: one page, everything or nothing, what was typed stays."""

from __future__ import annotations

import pytest

from jobs.models import Job, Observation, Pool, PoolOwner, Site
from shared.tenancy.context import acting_for
from tests.cast import client_of

ANSWERED = {
    "told-pool_age_years": "22",
    "told-years_since_work": "9",
    "told-owner_says_painted": "no",
    "told-feel_grit": "70",
    "told-chip_behaviour": "powder",
    "told-top_ups": "2",
    "told-photos": "by e-mail",
    "owner-name": "Pool owner of site 21",
    "owner-phone": "555 0121",
    "owner-email": "site21@cast.example",
    "owner-language": "es",
    "site-label": "Site 21, Alder Court",
    "site-address": "Alder Court 21",
    "site-latitude": "36.1",
    "site-longitude": "-79.8",
    "site-zone": "America/New_York",
    "site-branch": "main",
    "site-quiet_until_min": "7 am",
    "site-quiet_from_min": "19:00",
    "site-hose_by": "bucket",
    "site-bucket_l": "5",
    "site-bucket_s": "30",
    "site-hoses": "2",
    "site-discharge_limit_l_min": "40",
    "site-high_groundwater": "on",
    "pool-shape": "rectangle",
    "pool-length_m": "32'",
    "pool-width_m": "16",
    "pool-shallow_m": "3.5",
    "pool-deep_m": "8",
    "work-finish": "grey",
    "work-earliest_date": "2030-04-01",
    "work-notes": "Gate code with the neighbour.",
}


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


def call(office, **changes):
    return office.post("/jobs/new/", {**ANSWERED, **changes})


def test_a_first_call_opens_a_job_with_site_pool_owner_and_first_observations(cast, office):
    answer = call(office)
    with acting_for(cast.own.contractor.pk):
        job = Job.objects.select_related("site", "pool", "pool_owner").get()
        made = {o.name: o.value for o in Observation.objects.all()}
    assert answer.status_code == 302
    assert answer["Location"] == f"/jobs/{job.pk}/survey/"
    assert (job.number, job.state, job.finish, str(job.earliest_date)) == (101, "surveyed", "grey", "2030-04-01")
    assert (job.pool_owner.name, job.pool_owner.language) == ("Pool owner of site 21", "es")
    assert made == {
        "pool_age_years": 22.0,
        "years_since_work": 9.0,
        "owner_says_painted": "no",
        "feel_grit": 70.0,
        "chip_behaviour": "powder",
    }
    assert "Topped up 2 times a week." in job.notes
    assert "Photos: by e-mail" in job.notes
    assert "Gate code" in job.notes


# 5 US gallons in 30 s are 10 gal/min; 1 US gallon is 3.785411784 L [NIST Handbook 44].
def test_the_bucket_test_gives_the_flow_of_one_hose(cast, office):
    call(office)
    with acting_for(cast.own.contractor.pk):
        site = Site.objects.get()
        pool = Pool.objects.get()
    assert site.hose_flow_l_min == pytest.approx(37.854, abs=0.01)
    assert site.hose_flow_measured
    assert site.fill_flow_l_min == pytest.approx(75.708, abs=0.02)
    assert (site.quiet_until_min, site.quiet_from_min, site.high_groundwater) == (420, 1140, True)
    assert pool.length_m == pytest.approx(9.7536)
    assert pool.profile == [[0.0, pytest.approx(1.0668)], [pytest.approx(9.7536, abs=1e-5), pytest.approx(2.4384)]]


def test_pressure_gives_a_flow_that_is_not_called_measured(cast, office):
    """Hazen-Williams by hand: 40 psi over 50 ft of 5/8 in hose, C 140, gives about 19 gal/min."""
    pressure = {"site-pressure_kpa": "40", "site-hose_length_m": "50", "site-hose_diameter_mm": "0.625"}
    assert call(office, **{"site-hose_by": "pressure", **pressure}).status_code == 302
    with acting_for(cast.own.contractor.pk):
        site = Site.objects.get()
    psi_ft = 40 / 50
    gpm = (psi_ft * 140**1.85 * 0.625**4.87 / 4.52) ** (1 / 1.85)  # NFPA 13's form of the same equation
    assert site.hose_flow_l_min / 3.785411784 == pytest.approx(gpm, rel=0.02)
    assert not site.hose_flow_measured


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("site-latitude", "136.1", "Latitude is 136.1 °; allowed is -90 to 90 °."),
        ("site-longitude", "", "Longitude is missing; allowed is -180 to 180 °."),
        ("site-zone", "Mars/Olympus", "“Mars/Olympus” is not a time zone"),
        ("site-bucket_s", "", "Full after is missing; allowed is 2 to 3600 s."),
        ("site-bucket_l", "500", "Bucket is 500 gal; allowed is 0.26 to 66.04 gal."),
        ("site-quiet_until_min", "20:00", "Quiet hours leave no time to work"),
        ("site-discharge_limit_l_min", "0", "Discharge limit is 0 gal/min; allowed is 1.32 to 1320.86 gal/min."),
        ("site-hoses", "11", "Hoses at once is 11; allowed is 1 to 10."),
        ("pool-length_m", "400", "Length or diameter is 400 ft; allowed is 1.64 to 328.08 ft."),
        ("pool-width_m", "", "Width is missing; allowed is 1.64 to 328.08 ft."),
        ("pool-deep_m", "30", "Depth at the deep end is 30 ft; allowed is 0.66 to 26.25 ft."),
        ("told-pool_age_years", "151", "How old is the pool? is 151 years; allowed is 0 to 150 years."),
        ("owner-email", "not an address", "Enter a valid email address."),
        ("work-earliest_date", "soon", "Enter a valid date."),
    ],
)
def test_a_refusal_names_value_range_and_unit_and_nothing_is_kept_or_lost(cast, office, field, typed, sentence):
    answer = call(office, **{field: typed})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page.replace("&#x27;", "'")
    with acting_for(cast.own.contractor.pk):
        assert not Job.objects.exists()
        assert not Site.objects.exists()
        assert not PoolOwner.objects.exists()
    kept = [value for name, value in ANSWERED.items() if name != field and not name.endswith(("_by", "groundwater"))]
    assert [value for value in kept if value.replace("'", "&#x27;") not in page] == []


def test_every_refused_form_speaks_at_once(office):
    page = call(office, **{"site-latitude": "x", "pool-length_m": "x", "told-top_ups": "x"}).content.decode()
    assert page.count('class="error" id=') == 3


def test_an_outline_that_crosses_itself_is_refused_in_the_words_of_the_geometry(cast, office):
    crossing = {"pool-shape": "outline", "pool-points_m": "0 0\n30 16\n30 0\n0 16"}
    answer = call(office, **crossing)
    assert answer.status_code == 422
    assert "the outline crosses or touches itself" in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        assert not Site.objects.exists()


def test_a_site_of_a_firm_on_bundled_weather_takes_the_file_of_its_nearest_neighbour(cast, office):
    call(office)
    with acting_for(cast.own.contractor.pk):
        first = Site.objects.get()
        assert first.archive == "greensboro_nc"  # the nearest station
        Site.objects.update(archive="greensboro_nc:140")
    call(office, **{"site-label": "Site 22"})
    with acting_for(cast.own.contractor.pk):
        assert Site.objects.get(label="Site 22").archive == "greensboro_nc:140"


def test_open_questions_stay_open_and_the_survey_begins_later(cast, office):
    silent = {name: "" for name in ANSWERED if name.startswith("told-")}
    assert call(office, **silent).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert not Observation.objects.exists()


def test_questions_are_asked_in_the_order_of_the_trade(office):
    page = office.get("/jobs/new/").content.decode()
    order = ["How old", "last worked on", "painted", "feel underfoot", "flake", "topped up", "Photos"]
    places = [page.index(words) for words in order]
    assert places == sorted(places)


def test_a_crew_lead_takes_no_first_calls(cast):
    assert client_of(cast.own.crew_lead).get("/jobs/new/").status_code == 403
