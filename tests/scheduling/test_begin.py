"""A new firm's way in: crews at once, then one step after the other, each with its one place."""

from __future__ import annotations

import pytest
from django.urls import reverse

from jobs.models import Job, JobState
from scheduling.models import Crew
from shared import clock
from shared.models import Role
from shared.services.members import contractor_open, person_register
from shared.tenancy.context import acting_for
from tests.cast import FirmCast, client_of, expect, issue, join, open_job
from tests.scheduling.office import text_of

TYPED = {
    "position": "36.07, -79.79",
    "branch": "main",
    "days": ["0", "1", "2", "3", "4"],
    "begins": "7:00",
    "ends": "17:00",
    "water_days": ["0", "1", "2", "3", "4", "5", "6"],
    "water_begins": "6:00",
    "water_ends": "9 pm",
    "name_water": "Water crew",
    "people_water": "2",
    "name_prep": "Prep crew",
    "people_prep": "3",
    "name_plaster": "Plaster crew",
    "people_plaster": "5",
}


@pytest.fixture
def firm(db) -> FirmCast:
    """A firm of this morning: a manager and somebody in the office, nothing else."""
    contractor = contractor_open(slug="new", name="New Basin Works", zone="America/New_York", units="us")
    members = {}
    for role in (Role.MANAGER, Role.OFFICE):
        person = person_register(email=f"{role}@new.example", name=f"{role} of new", password="a quiet basin in april")
        members[role.value] = join(contractor, person, role)
    return FirmCast(contractor, members)


def crews(firm: FirmCast) -> dict[str, Crew]:
    with acting_for(firm.contractor.pk):
        return {crew.skills[0]: crew for crew in Crew.objects.prefetch_related("shifts")}


def test_three_crews_are_set_up_in_one_go(firm):
    manager = client_of(firm.manager)
    page = manager.get(reverse("begin")).content.decode()
    assert 'value="Water crew"' in page
    assert manager.post(reverse("begin"), TYPED).status_code == 302
    made = crews(firm)
    assert {skill: (crew.name, crew.people, crew.shifts.count()) for skill, crew in made.items()} == {
        "water": ("Water crew", 2, 7),
        "prep": ("Prep crew", 3, 5),
        "plaster": ("Plaster crew", 5, 5),
    }
    assert (made["prep"].latitude, made["prep"].longitude) == (36.07, -79.79)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"position": "at the yard"}, "Position is “at the yard”; allowed is latitude, longitude"),
        ({"people_prep": "300"}, "allowed is 1 to 30"),
        ({"ends": "6:00"}, "The day must begin before it ends."),
        ({"begins": "7:10"}, "in steps of 30 min"),
        ({"days": []}, "This field is required."),
        ({"water_days": []}, "This field is required."),
        ({"water_ends": "5:00"}, "The day must begin before it ends."),
        ({"name_prep": ""}, "A crew needs a name."),
        ({"people_water": "", "people_prep": "", "people_plaster": ""}, "Name at least one crew with its people."),
    ],
)
def test_what_makes_no_crew_is_refused_and_nothing_is_kept(firm, changed, sentence):
    answer = client_of(firm.manager).post(reverse("begin"), {**TYPED, **changed})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert 'value="Plaster crew"' in answer.content.decode()
    assert not crews(firm)


def test_a_skill_without_people_gets_no_crew(firm):
    client_of(firm.manager).post(reverse("begin"), {**TYPED, "people_plaster": ""})
    assert set(crews(firm)) == {"water", "prep"}


def test_the_office_is_told_that_a_manager_does_it(firm):
    assert client_of(firm.office).get(reverse("begin")).status_code == 403
    said = text_of(client_of(firm.office).get("/"))
    assert "A manager of the firm does that." in said
    assert "Open the first job" in said


def test_the_guide_leads_step_by_step_to_the_first_plan_and_is_then_gone(firm):
    manager = client_of(firm.manager)
    assert guided(manager) == "Set up your crews"
    manager.post(reverse("begin"), TYPED)
    assert guided(manager) == "Open the first job"
    job = open_job(firm, agreed=False)
    assert guided(manager) == "Agree the scope"
    assert manager.post(reverse("scope-agree", args=[job.pk]), agreed(manager, job)).status_code == 302
    assert guided(manager) == "Choose the date"
    band = expect(job, firm).band
    assert manager.post(reverse("date-for", args=[job.pk]), {"day": band["p90"]}).status_code == 302
    assert guided(manager) == "Ask for a plan"
    issue(firm)
    assert guided(manager) == ""


def guided(client) -> str:
    """What the button of the guide says."""
    page = client.get("/").content.decode()
    if 'class="first"' not in page:
        return ""
    part = page[page.index('<ol class="first">') :].split("</ol>")[0]
    assert part.count('class="button"') == 1
    return part.split('class="button"')[1].split(">")[1].split("<")[0]


def agreed(client, job) -> dict[str, str]:
    page = client.get(reverse("scope-agree", args=[job.pk])).content.decode()
    kind = next(part.split('value="')[1].split('"')[0] for part in page.split("<input") if "checked" in part)
    return {"kind": kind, "why": "", "repairs_h": "", "do": "agree"}


def step(client, job) -> str:
    """What the job's page says is next."""
    page = client.get(reverse("job", args=[job.pk])).content.decode()
    return "" if 'class="next' not in page else page.split('class="next')[1].split("</div>")[0]


def test_a_jobs_page_says_the_one_thing_to_do_next(cast):
    office = client_of(cast.own.office)
    job = open_job(cast.own, agreed=False)
    assert "Agree the scope" in step(office, job)
    office.post(reverse("scope-agree", args=[job.pk]), agreed(office, job))
    assert "being computed" in step(office, job)
    band = expect(job, cast.own).band
    assert "Choose the date" in step(office, job)
    office.post(reverse("date-for", args=[job.pk]), {"day": band["p90"]})
    assert "Ask for a new plan" in step(office, job)
    issue(cast.own)
    assert step(office, job) == ""
    for state, words in ((JobState.FILLING, "When it will be full"), (JobState.FIRST_MONTH, "Start-up log")):
        with acting_for(cast.own.contractor.pk):
            Job.objects.update(state=state, filled_on=clock.now().date())
        assert words in step(office, job)


def test_a_page_that_waits_for_dates_asks_until_they_are_there(cast):
    office, job = client_of(cast.own.office), open_job(cast.own)
    url = reverse("job", args=[job.pk])
    assert 'hx-trigger="every 2s"' in office.get(url).content.decode()
    assert office.get(url, headers={"hx-request": "true"}).status_code == 204
    expect(job, cast.own)
    assert office.get(url, headers={"hx-request": "true"})["HX-Refresh"] == "true"
    assert 'hx-trigger="every 2s"' not in office.get(url).content.decode()


@pytest.mark.parametrize(
    ("cause", "words"),
    [("fill_crew", "Change hoses or flow"), ("crew", "See the crews"), ("cold", "See what holds it back")],
)
def test_where_no_fill_day_is_found_the_page_says_what_to_change(cast, cause, words):
    office, job = client_of(cast.own.office), open_job(cast.own)
    row = expect(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        row.band |= {"p10": None, "p50": None, "p80": None, "p90": None, "chance_by": [], "later": 1.0}
        row.band["lost_days"] = [["plaster", cause, 15.0]]
        row.save()
    assert words in step(office, job)
