"""The firm's own figures of the first month and its own sentences, from its page to the planner and the phone."""

import datetime as dt

import pytest
from django.urls import reverse

from jobs.firm_words import PLACES, words_said
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up_settings import StartUpSettings, settings_of
from scheduling.selectors.problem import planning_problem, visit_rules
from scheduling.selectors.start_up import start_up_sheet
from shared import clock
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.cast import client_of, expect, issue, open_job
from tests.scheduling.on_site import TODAY, on_day, set_state


def _form(cast) -> dict[str, str]:
    page = client_of(cast.own.manager).get(reverse("first-month"))
    assert page.status_code == 200
    return {field.html_name: str(field.value()) for field in page.context["form"]}


def _post(cast, **changes):
    return client_of(cast.own.manager).post(reverse("first-month"), {**_form(cast), **changes})


def test_what_is_not_changed_is_not_kept(cast):
    assert _post(cast).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().start_up == {}
        assert start_up_settings() == StartUpSettings()


def test_visits_reach_planner_phone_and_advice(cast):
    assert _post(cast, visits="1, 4, 10, 28", acid_ph_step="0.3", retest_h="8").status_code == 302
    job = open_job(cast.own)
    expect(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        document = planning_problem(cast.own.contractor, clock.now()).document
        assert [visit["day"] for visit in document["rules"]["startup"]] == [1, 4, 10, 28]
        assert start_up_settings().acid_ph_step == 0.3
        assert AuditEntry.objects.filter(what="start_up changed").exists()
    issue(cast.own)
    set_state(job, cast.own, filled_on=TODAY, state="first_month")
    with on_day(10, TODAY + dt.timedelta(days=2)), acting_for(cast.own.contractor.pk):
        assert start_up_sheet(job, clock.now()).next_visit == TODAY + dt.timedelta(days=4)


def test_a_visit_that_is_made_no_more_leaves_the_plan(cast):
    """Plans are issued for days 1, 2 and 3; then the firm comes on days 1 and 28 only."""
    job = open_job(cast.own)
    expect(job, cast.own)
    issue(cast.own)
    assert _post(cast, visits="1,28").status_code == 302
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        alive = job.stints.exclude(state="dropped").filter(stage="start_up")
        assert sorted(alive.values_list("key", flat=True)) == ["startup_1", "startup_28"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"visits": "1, two, 28"}, "Days someone must come are “1, two, 28”; write whole days 0 to 28"),
        ({"visits": "1, 29"}, "a day someone must come is 29; allowed are whole days 0 to 28."),
        ({"visits": "1, 7"}, "day 28 hands the water over"),
        ({"acid_ph_step": "0.8"}, "0.8; allowed is 0.1 to 0.4"),
        ({"day_salt": "7"}, "First day of salt is 7; allowed is 28 to 90"),
        ({"ph_from": "7.8", "ph_to": "7.4"}, "pH goal is 7.8 to 7.4; the first must be below the second."),
    ],
)
def test_what_a_month_cannot_be_is_refused_and_kept_as_typed(cast, change, said):
    answer = _post(cast, **change)
    page = answer.content.decode()
    assert answer.status_code == 422 and said in page
    assert f'value="{next(iter(change.values()))}"' in page
    with acting_for(cast.own.contractor.pk):
        assert Firm.objects.get().start_up == {}


def test_figures_come_back_as_they_were_kept():
    own = {"visits": [1, 28], "ph": [7.2, 7.8], "days": {"swimming": 14}, "acid_mass_fraction": 0.2}
    found = settings_of(own)
    assert (found.visits, found.ph, found.days["swimming"], found.acid_mass_fraction) == ((1, 28), (7.2, 7.8), 14, 0.2)
    assert [rule["tol"] for rule in visit_rules(StartUpSettings())] == [0, 0, 0, 1, 1, 2]
    with pytest.raises(ValueError, match="no figure of the first month"):
        settings_of({"weather": 1})


def test_own_words_are_said_in_the_language_of_the_page(cast):
    client = client_of(cast.own.manager)
    said = {"line_wind_en": "Windbreaks from the truck.", "line_wind_es": "Cortavientos del camión."}
    assert client.post(reverse("firm-words"), said).status_code == 302
    with acting_for(cast.own.contractor.pk):
        firm = Firm.objects.get()
        assert words_said(firm, "line_wind", "es") == "Cortavientos del camión."
        assert words_said(firm, "line_wind", "en") == "Windbreaks from the truck."
        assert words_said(firm, "line_drying", "en") == PLACES["line_drying"].usual
        assert words_said(firm, "pool_owner", "en") == ""
    with acting_for(cast.other.contractor.pk):
        assert "truck" not in words_said(Firm.objects.get(), "line_wind", "en")


def test_a_sentence_in_one_language_stands_in_for_the_other(cast):
    client_of(cast.own.manager).post(reverse("firm-words"), {"line_rain_en": "Tarps, then ring."})
    with acting_for(cast.own.contractor.pk):
        assert words_said(Firm.objects.get(), "line_rain", "es") == "Tarps, then ring."


@pytest.mark.parametrize("name", ["first-month", "firm-words"])
def test_only_a_manager_changes_them(cast, name):
    assert client_of(cast.own.office).get(reverse(name)).status_code == 403
    assert client_of(cast.own.manager).get(reverse(name)).status_code == 200
