import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates, Job
from scheduling.models import Plan, PlanState, Stage, Stint, StintState
from scheduling.selectors.plan_stints import answer_in_force, stints_in_force
from scheduling.selectors.problem import planning_problem
from scheduling.selectors.stint_others import Other, _Others, stint_others
from scheduling.selectors.stint_view import StintWhy, stint_why
from scheduling.solver.alternatives import alternatives
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


def two_days_later(cast: Cast, job) -> None:
    """From the plaster on everything is two days later than it has to be."""
    with acting_for(cast.own.contractor.pk):
        for key in ("plaster", "fill_start", "fill_end", *(f"startup_{n}" for n in (1, 2, 3, 7, 14, 28))):
            for stint in Stint.objects.filter(job=job, key=key):
                stint.starts += dt.timedelta(days=2)
                stint.ends += dt.timedelta(days=2)
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
    two_days_later(cast, job)  # so that the day before is free but for the weather
    stint = stint_of(cast, job, Stage.PLASTER)
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


def others(cast: Cast, stint: Stint) -> list[Other]:
    with acting_for(cast.own.contractor.pk):
        return stint_others(cast.own.contractor, stint, clock.now(), "us")


def test_a_day_on_which_it_could_be_is_found(cast: Cast):
    job = planned_job(cast)
    two_days_later(cast, job)
    found = why(cast, stint_of(cast, job, Stage.PLASTER))
    assert found.earlier[-1].free
    assert "It could be earlier" in found.sentence
    assert not any(line.binds for line in found.rules)


def test_three_other_places_are_priced_with_what_moves_besides(cast: Cast):
    job = planned_job(cast)
    promised = stint_of(cast, job, Stage.FILL_END).starts.astimezone(job.site.tz).date()
    two_days_later(cast, job)
    with acting_for(cast.own.contractor.pk):
        Job.objects.filter(pk=job.pk).update(promised_date=promised, weight=5)
    found = others(cast, stint_of(cast, job, Stage.PLASTER))
    assert len(found) == 3
    assert any("sooner" in one.cost and one.moved for one in found)
    assert all(one.pushes == () for one in found)


def test_another_pool_that_would_be_pushed_is_named(cast: Cast):
    """One plaster crew: to plaster the second pool on the first one's day, the first must give way."""
    first = planned_job(cast, "Site 01")
    second = open_job(cast.own, label="Site 02")
    expect(second, cast.own)
    issue(cast.own)
    late = max((stint_of(cast, job, Stage.PLASTER) for job in (first, second)), key=lambda stint: stint.starts)
    other = "Site 01" if late.job.site.label == "Site 02" else "Site 02"
    with acting_for(cast.own.contractor.pk):
        found = planning_problem(cast.own.contractor, clock.now())
        problem = Problem.from_json(found.document)
        in_force = answer_in_force(problem, stints_in_force(problem), found.clock)
        rows = alternatives(problem, in_force, (str(late.job_id), late.key), most=20)
        said = _Others(found, problem, in_force, late, "us").listed(rows)
    assert any(other in words for one in said for words in one.pushes)


def test_a_place_is_proposed_and_nothing_is_issued(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PLASTER)
    one = others(cast, stint)[0]
    fields = {"crew": one.crew_id, "start": one.start, "first_day": one.first_day.isoformat()}
    answer = office(cast).post(address(stint, "stint-move"), fields)
    assert (answer.status_code, answer.url) == (302, reverse("changes"))
    with acting_for(cast.own.contractor.pk):
        plan = Plan.objects.get(state=PlanState.PROPOSED)
        there = {(row["job"], row["stage"]): row for row in plan.answer["stints"]}[str(job.pk), "plaster"]
        assert (there["crew"], there["start"]) == (one.crew_id, one.start)
        assert plan.why == "apply and trowel of job 101 moved by hand"
    assert "moved by hand" in text_of(office(cast).get(reverse("changes"))).replace(plan.why, "")
    assert stint_of(cast, job, Stage.PLASTER).starts == stint.starts


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"start": "3"}, "It cannot be there: no plan keeps all rules with it at that time."),
        ({"start": "-1"}, "greater than or equal to 0"),
        ({"crew": "nobody"}, "Enter a valid UUID"),
        ({"first_day": "some day"}, "Enter a valid date"),
    ],
)
def test_a_place_that_cannot_be_is_refused_with_a_sentence(cast: Cast, fields, words):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PLASTER)
    one = others(cast, stint)[0]
    good = {"crew": one.crew_id, "start": one.start, "first_day": one.first_day.isoformat()}
    answer = office(cast).post(address(stint, "stint-move"), {**good, **fields})
    assert answer.status_code == 422
    assert words in text_of(answer)
    with acting_for(cast.own.contractor.pk):
        assert not Plan.objects.filter(state=PlanState.PROPOSED).exists()


def test_the_other_places_come_as_a_part_of_the_page_or_as_a_page(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PLASTER)
    path = address(stint, "stint-others")
    page, part = office(cast).get(path), office(cast).get(path, headers={"HX-Request": "true"})
    assert "<main" in page.content.decode()
    assert "<main" not in part.content.decode()
    assert "Propose this" in page.content.decode()
    assert "Propose this" in part.content.decode()
    assert "The three best other times" in text_of(office(cast).get(address(stint)))


def test_what_begins_soon_says_that_no_plan_moves_it(cast: Cast):
    job = planned_job(cast)
    stint = stint_of(cast, job, Stage.PLASTER)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)  # the drain was released
    with clock.clock_at(stint.starts - dt.timedelta(hours=5)):
        assert why(cast, stint).sentence == "It begins within 18 h and breaks no rule: no new plan moves it."


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
