"""The firm's pages: the office reads, a manager changes; limits may be tightened, the hard ones never relaxed."""

from __future__ import annotations

import re

import pytest

from jobs.timeline.limits import LIMIT_CATALOGUE, Limits
from jobs.timeline.rates import RATE_CATALOGUE
from scheduling.selectors.problem import planning_problem
from shared import clock
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.broker import dates_asked_for
from tests.cast import client_of, expect, issue, open_job


@pytest.fixture
def manager(cast):
    return client_of(cast.own.manager)


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


def firm_of(cast):
    with acting_for(cast.own.contractor.pk):
        return Firm.objects.get()


def shown(client, url):
    """Every text field of a page as a browser would send it back."""
    html = client.get(url).content.decode()
    return dict(re.findall(r'<input type="text" name="(\w+)" value="([^"]*)"', html))


SETTINGS = {
    "units_used": "us",
    "contact_name": "Office of the firm",
    "phone": "555 0142",
    "pumps": "3",
    "rigs": "2",
    "late_day": "20",
    "unplanned": "30",
    "travel_km": "3",
}


def test_the_office_reads_every_limit_with_its_source_and_every_rate(office):
    html = office.get("/firm/").content.decode().replace("&#x27;", "'")
    for limit in LIMIT_CATALOGUE.values():
        assert limit.words[:1].upper() + limit.words[1:] in html
    for entry in RATE_CATALOGUE.values():
        assert entry.label in html
    assert "common practice, no source" in html
    assert "International Building Code 2512.4" in html
    assert "Change limits" not in html
    assert '<fieldset class="bare" disabled>' in html


# 40 F is 4.4 C to a tenth (International Building Code 2512.4, as quoted in the catalogue).
def test_limits_stand_in_the_units_of_the_firm(cast, office):
    assert "40\N{NO-BREAK SPACE}°F" in office.get("/firm/").content.decode()
    assert "4\N{NO-BREAK SPACE}°C" in client_of(cast.other.office).get("/firm/").content.decode()


@pytest.mark.parametrize("url", ["/firm/settings/", "/firm/limits/", "/firm/rates/"])
def test_only_a_manager_changes(cast, office, url):
    assert office.post(url, SETTINGS).status_code == 403
    assert client_of(cast.own.crew_lead).post(url, SETTINGS).status_code == 403
    assert firm_of(cast).pumps == 2


def test_settings_are_kept_and_reach_the_planner(cast, manager):
    assert manager.post("/firm/settings/", SETTINGS).status_code == 302
    firm = firm_of(cast)
    assert (firm.pumps, firm.rigs, firm.contact_name, firm.phone) == (3, 2, "Office of the firm", "555 0142")
    open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        document = planning_problem(cast.own.contractor, clock.now()).document
    assert document["pumps"] == 3
    assert document["weights"] == {"late_day": 2000, "fill_day": 100, "unplanned": 60000, "travel_km": 3}


def test_how_much_a_move_counts_reaches_the_planner(cast, manager):
    """Thrice as much, and nothing else changes; a firm that never said counts as before."""
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)

    def costs() -> list[int]:
        with acting_for(cast.own.contractor.pk):
            return [row["move_cost"] for row in planning_problem(cast.own.contractor, clock.now()).document["current"]]

    usual = costs()
    assert usual
    assert manager.post("/firm/settings/", {**SETTINGS, "moves": "300"}).status_code == 302
    assert firm_of(cast).weights["moves"] == 300
    assert costs() == [cost if cost == 50_000 else 3 * cost for cost in usual]
    assert manager.post("/firm/settings/", {**SETTINGS, "moves": "7"}).status_code == 422
    assert costs() != usual


def test_settings_sent_back_untouched_keep_the_default_weights(cast, manager):
    html = manager.get("/firm/").content.decode()
    typed = dict(re.findall(r'<input type="text" name="(\w+)" value="([^"]*)"', html))
    typed |= {"units_used": "us", "travel_km": "1"}
    assert manager.post("/firm/settings/", typed).status_code == 302
    assert firm_of(cast).weights == {}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"pumps": "51"}, "Pumps is 51; allowed is 0 to 50."),
        ({"rigs": "one"}, "Mixing rigs is “one”; it must be a whole number, 0 to 50."),
        ({"late_day": "0"}, "is 0 days; allowed is 1 to 100 days."),
        ({"units_used": "cubits"}, "Select a valid choice"),
    ],
)
def test_bad_settings_are_refused_and_stay_on_the_page(cast, manager, changes, sentence):
    answer = manager.post("/firm/settings/", {**SETTINGS, **changes})
    html = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in html
    assert 'value="Office of the firm"' in html
    assert firm_of(cast).contact_name != "Office of the firm"


def test_limits_sent_back_untouched_change_nothing(cast, manager):
    typed = shown(manager, "/firm/limits/")
    assert set(typed) == set(LIMIT_CATALOGUE)
    assert manager.post("/firm/limits/", typed).status_code == 302
    assert firm_of(cast).limits == {}


def test_a_tightened_limit_is_kept_in_si_with_its_trail(cast, manager):
    typed = shown(manager, "/firm/limits/") | {"air_min_c": "45", "wind_max_m_s": "15", "rain_start_probability": "30"}
    assert manager.post("/firm/limits/", typed).status_code == 302
    kept = firm_of(cast).limits
    assert kept == {
        "air_min_c": pytest.approx(7.2222, abs=1e-3),
        "wind_max_m_s": pytest.approx(6.7056, abs=1e-3),
        "rain_start_probability": 0.3,
    }
    Limits().tightened(**kept)
    with acting_for(cast.own.contractor.pk):
        entry = AuditEntry.objects.get(what="limits changed")
    assert set(entry.after) == set(kept)
    assert entry.before["air_min_c"] is None
    html = manager.get("/firm/").content.decode()
    assert "<b>45\N{NO-BREAK SPACE}°F</b>" in html


@pytest.mark.parametrize(
    ("name", "relaxed"),
    [(name, 1.02 if limit.tighter == "lower" else 0.9) for name, limit in LIMIT_CATALOGUE.items() if limit.hard],
)
def test_a_hard_limit_is_never_relaxed(cast, manager, name, relaxed):
    limit = LIMIT_CATALOGUE[name]
    typed = shown(manager, "/firm/limits/")
    looser = float(typed[name]) * relaxed if float(typed[name]) > 1 else float(typed[name]) - 0.5
    if name == "surface_min_c":
        looser = 31.0
    answer = manager.post("/firm/limits/", typed | {name: f"{looser:.2f}"})
    html = answer.content.decode()
    assert answer.status_code == 422, (limit.words, looser)
    assert "This limit may be tightened, not relaxed." in html
    assert f'value="{looser:.2f}"' in html
    assert firm_of(cast).limits == {}


def test_an_emptied_limit_is_the_default_again(cast, manager):
    typed = shown(manager, "/firm/limits/")
    manager.post("/firm/limits/", typed | {"air_min_c": "45"})
    manager.post("/firm/limits/", shown(manager, "/firm/limits/") | {"air_min_c": ""})
    assert firm_of(cast).limits == {}


# 1 m2 is 10.7639 sq ft [NIST Handbook 44]: 30 sq ft/h are 2.787 m2/h.
def test_rates_are_kept_in_si_and_only_the_own_ones(cast, manager):
    typed = shown(manager, "/firm/rates/") | {"strip_m2_h": "30", "waste_share": "10"}
    assert manager.post("/firm/rates/", typed).status_code == 302
    assert firm_of(cast).rates == {"strip_m2_h": pytest.approx(2.787, abs=1e-3), "waste_share": 0.1}
    assert "own figure of the firm" in manager.get("/firm/").content.decode()


def test_a_rate_outside_its_range_is_refused(cast, manager):
    answer = manager.post("/firm/rates/", shown(manager, "/firm/rates/") | {"strip_m2_h": "0"})
    assert answer.status_code == 422
    assert (
        "Stripping to the shell, one person is 0 sq ft/h; allowed is 2.2 to 430.6 sq ft/h." in answer.content.decode()
    )
    assert firm_of(cast).rates == {}


@pytest.mark.parametrize("url", ["/firm/settings/", "/firm/limits/", "/firm/rates/"])
def test_every_change_asks_for_the_expected_dates_again(cast, manager, url, django_capture_on_commit_callbacks):
    typed = SETTINGS if "settings" in url else shown(manager, url)
    dates_asked_for()
    with django_capture_on_commit_callbacks(execute=True):
        assert manager.post(url, typed).status_code == 302
    assert dates_asked_for() == [str(cast.own.contractor.pk)]


def test_a_firm_without_crews_is_told_which_it_needs(cast, manager):
    with acting_for(cast.own.contractor.pk):
        for crew in cast.own.crews.values():
            crew.shifts.all().delete()
            crew.delete()
    assert "No crews yet. The planner needs at least one crew for water" in manager.get("/firm/").content.decode()


def test_a_metric_firm_types_metric_limits(cast):
    manager = client_of(cast.other.manager)
    typed = shown(manager, "/firm/limits/")
    assert typed["air_min_c"] == "4.4"
    assert manager.post("/firm/limits/", typed | {"air_min_c": "6.5"}).status_code == 302
    with acting_for(cast.other.contractor.pk):
        assert Firm.objects.get().limits == {"air_min_c": 6.5}
