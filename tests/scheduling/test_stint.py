import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates
from scheduling.models import Stage, Stint, StintState
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_view import StintWhy, stint_why
from scheduling.solver.check import check
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.plan import Stint as Decision
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job
from tests.scheduling.office import office, planned_job, queries, text_of


def stint_of(cast: Cast, job, key: str) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.select_related("job__site", "crew").get(job=job, key=key)


def why(cast: Cast, stint: Stint) -> StintWhy:
    with acting_for(cast.own.contractor.pk):
        return stint_why(cast.own.contractor, stint, clock.now(), "us")


def address(stint: Stint, name: str = "stint") -> str:
    return reverse(name, args=[stint.pk])


def move(cast: Cast, stint: Stint, days: int) -> None:
    with acting_for(cast.own.contractor.pk):
        stint.starts += dt.timedelta(days=days)
        stint.ends += dt.timedelta(days=days)
        stint.save()


def test_cure_of_the_bond_coat_holds_the_plaster_back(cast: Cast):
    """The cast's bond coat cures 40 slots, so plaster cannot follow on the same day."""
    job = planned_job(cast)
    found = why(cast, stint_of(cast, job, Stage.PLASTER))
    assert "What holds it back" in found.sentence
    assert found.earlier[-1].rule in ("cure", "predecessor")
    assert not any(day.free for day in found.earlier)


def test_a_day_closed_by_the_weather_is_named_with_its_reason(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PLASTER)
    move(cast, stint, 2)  # so that the day before is free but for the weather
    day = stint.starts.astimezone(job.site.tz).date() - dt.timedelta(days=1)
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get()
        number = (day - row.first_day).days
        row.rows["plaster_days"] = [one for one in row.rows["plaster_days"] if one[0] != number]
        for verdict in row.verdicts:
            if verdict["day"] == day.isoformat():
                verdict |= {"code": "cold", "value": 1.0, "limit": 4.4}
        row.save()
    found = why(cast, stint)
    assert found.earlier[-1].rule == "weather"
    assert "the air falls to 34 °F" in found.earlier[-1].words.replace("\N{NO-BREAK SPACE}", " ")
    assert ("the weather does not allow it", day + dt.timedelta(days=1)) in found.earliest


def test_a_day_on_which_it_could_be_is_found_and_priced(cast: Cast):
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        for key in ("plaster", "fill_start", "fill_end", *(f"startup_{n}" for n in (1, 2, 3, 7, 14, 28))):
            stint = Stint.objects.get(job=job, key=key)
            stint.starts += dt.timedelta(days=2)
            stint.ends += dt.timedelta(days=2)
            stint.save()
    stint = stint_of(cast, job, Stage.PLASTER)
    found = why(cast, stint)
    assert found.earlier[-1].free
    assert "It could be earlier" in found.sentence
    assert found.others
    assert found.others[0].cost == "costs nothing"


def test_no_day_is_said_to_be_free_that_the_check_refuses(cast: Cast):
    """Each free day, tried in earnest: the whole plan with the stint there passes the planner's check."""

    job = planned_job(cast)
    expect(open_job(cast.own, label="Site 02"), cast.own)
    issue(cast.own)
    tried = 0
    with acting_for(cast.own.contractor.pk):
        planned = planning_problem(cast.own.contractor, clock.now())
        problem = Problem.from_json(planned.document)
        answer = answer_in_force(problem, stints_in_force(problem), planned.clock)
        assert check(problem, answer) == []
        for stint in Stint.objects.filter(job=job).select_related("job__site", "crew"):
            for day in stint_why(cast.own.contractor, stint, clock.now(), "us").later:
                if not day.free:
                    continue
                key = str(job.pk), stint.key
                rest = tuple(one for one in answer.stints if (one.job, one.stage) != key)
                there = Decision(*key, str(stint.crew_id), planned.clock.slot(day.at))
                assert check(problem, Answer((*rest, there), answer.unplanned)) == []
                tried += 1
    assert tried  # some start-up visits may be a day later


def test_the_page_says_people_things_and_cautions(cast: Cast):
    job = planned_job(cast, "Site 07")
    said = text_of(office(cast).get(address(stint_of(cast, job, Stage.PREP))))
    for words in (
        "Chip and prep, Site 07",
        "prep crew of own",
        "4 people",
        "Bring:",
        "Silica dust",
        "Pool owner of Site 07",
    ):
        assert words in said


def test_a_held_drain_asks_for_the_record_and_does_not_decide(cast: Cast):
    job = planned_job(cast)
    said = text_of(office(cast).get(address(stint_of(cast, job, Stage.DRAIN_SETUP))))
    assert "Held: nobody has recorded the groundwater level" in said
    assert "the program does not decide it" in said
    assert "safe" not in said.lower()


def test_keeping_a_day_and_letting_it_move_again(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    client = office(cast)
    assert client.post(address(stint, "stint-keep"), {"kept": "1"}).status_code == 302
    assert stint_of(cast, job, Stage.PREP).kept
    assert "You keep it on this day" in text_of(client.get(address(stint)))
    client.post(address(stint, "stint-keep"), {"kept": "0"})
    assert not stint_of(cast, job, Stage.PREP).kept
    with acting_for(cast.own.contractor.pk):
        kept = AuditEntry.objects.filter(subject_id=stint.pk).order_by("at").values_list("what", flat=True)
        assert list(kept) == ["day kept", "day may move"]


def test_a_kept_stint_is_fixed_for_the_planner(cast: Cast):

    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    office(cast).post(address(stint, "stint-keep"), {"kept": "1"})
    with acting_for(cast.own.contractor.pk):
        planned = planning_problem(cast.own.contractor, clock.now()).document["jobs"][0]
    assert [row["stage"] for row in planned["fixed"]] == ["prep"]


def test_marking_done_with_hours(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    answer = office(cast).post(address(stint, "stint-mark"), {"state": "done", "hours": "14.5"})
    assert answer.status_code == 302
    stint = stint_of(cast, job, Stage.PREP)
    assert (stint.state, stint.hours_worked) == (StintState.DONE, 14.5)


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"state": "done", "hours": "-3"}, "Hours worked is less than 0; allowed is 0 to 200 h."),
        ({"state": "done", "hours": "lots"}, "Hours worked must be a number from 0 to 200 h."),
        ({"state": "done", "at": "yesterday"}, "“yesterday” is not a time; write it as 2027-03-31T07:30."),
        ({"state": "done", "at": "2090-01-01T08:00"}, "allowed is up to now"),
        ({"state": "undone"}, "Say in a few words why it did not happen."),
        ({"state": "dropped"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_refused_and_kept_on_the_page(cast: Cast, fields, words):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    answer = office(cast).post(address(stint, "stint-mark"), {"why": "", **fields})
    assert answer.status_code == 422
    assert words in text_of(answer)
    typed = fields.get("hours") or fields.get("at") or ""
    assert typed in answer.content.decode()
    assert stint_of(cast, job, Stage.PREP).state == StintState.ISSUED


def test_not_done_drops_the_stint_with_its_reason(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    office(cast).post(address(stint, "stint-mark"), {"state": "undone", "why": "truck broke down"})
    with acting_for(cast.own.contractor.pk):
        stint.refresh_from_db()
        assert stint.state == StintState.DROPPED
        entry = AuditEntry.objects.get(subject_id=stint.pk, what="stint not done")
        assert entry.after["why"] == "truck broke down"
    assert "truck broke down" in text_of(office(cast).get(address(stint)))


def test_a_begun_stint_has_no_other_day(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    office(cast).post(address(stint, "stint-mark"), {"state": "begun"})
    assert "it stays where it is" in why(cast, stint_of(cast, job, Stage.PREP)).sentence


def test_times_are_those_of_the_site(cast: Cast):
    """A site two hours west: 8:00 there, whatever the firm's clock says."""
    job = planned_job(cast, site={"zone": "America/Denver"})
    stint = stint_of(cast, job, Stage.PLASTER)
    local = stint.starts.astimezone(job.site.tz)
    assert f"{local.hour % 12 or 12}:{local.minute:02d} {'am' if local.hour < 12 else 'pm'}" in text_of(
        office(cast).get(address(stint))
    )


def test_the_number_of_queries_does_not_grow_with_the_jobs(cast: Cast):
    job = planned_job(cast, "Site 01")
    client = office(cast)
    few = queries(client, address(stint_of(cast, job, Stage.PLASTER)))
    for number in range(2, 6):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    issue(cast.own)
    assert queries(client, address(stint_of(cast, job, Stage.PLASTER))) == few


def test_roles_and_neighbours(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PREP)
    assert client_of(cast.own.crew_lead).get(address(stint)).status_code == 403
    for name in ("stint-keep", "stint-mark"):
        assert client_of(cast.own.crew_lead).post(address(stint, name)).status_code == 403
        assert client_of(cast.other.office).post(address(stint, name)).status_code == 404
    assert client_of(cast.other.office).get(address(stint)).status_code == 404
