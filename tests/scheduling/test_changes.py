import datetime as dt
import re

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates, Job
from scheduling.models import CalendarEntry, Plan, PlanState, Shift, Stage, Stint, StintState
from scheduling.selectors.changes import comparison
from scheduling.selectors.problem import planning_problem
from scheduling.services.answers import duty_findings as findings_of
from scheduling.services.crews import absence_note
from scheduling.solver.check import check
from scheduling.solver.greedy import greedy
from scheduling.solver.plan import Plan as Answer
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job, propose
from tests.scheduling.office import office, planned_job, queries, text_of

CHANGES = "/changes/"


def plaster_of(cast: Cast, job) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.select_related("job__site").get(job=job, key=Stage.PLASTER)


def absent_on(cast: Cast, stint: Stint) -> None:
    """The plaster crew is off on the day of the stint."""
    day = stint.starts.astimezone(stint.job.site.tz).date()
    with acting_for(cast.own.contractor.pk):
        absence_note(cast.own.crews["plaster"], first_day=day, last_day=day, reason="training", by=cast.own.office)


def compared(cast: Cast, plan: Plan):
    with acting_for(cast.own.contractor.pk):
        return comparison(cast.own.contractor, plan, "us")


def test_an_absence_moves_the_plaster_day_and_the_reason_is_the_absence(cast: Cast):
    job = planned_job(cast, "Site 07")
    absent_on(cast, plaster_of(cast, job))
    found = compared(cast, propose(cast.own))
    changes = {change.key: change for row in found.jobs for change in row.changes}
    assert changes["plaster"].kind == "moved"
    assert changes["plaster"].why == "plaster crew of own is absent (training)"
    assert changes["plaster"].after.starts > changes["plaster"].before.starts
    assert changes["fill_end"].why == "follows “start the fill”"
    assert changes["startup_1"].why == "follows the fill day"
    assert found.jobs[0].days == 1


def test_a_day_closed_by_the_weather_is_the_reason_with_its_words(cast: Cast):
    job = planned_job(cast, "Site 07")
    stint = plaster_of(cast, job)
    day = stint.starts.astimezone(job.site.tz).date()
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get()
        number = (day - row.first_day).days
        row.rows["plaster_days"] = [one for one in row.rows["plaster_days"] if one[0] != number]
        for verdict in row.verdicts:
            if verdict["day"] == day.isoformat():
                verdict |= {"code": "rain", "value": 5.0, "limit": 0.0, "word": "cannot plaster"}
        row.save()
    changes = {change.key: change for row in compared(cast, propose(cast.own)).jobs for change in row.changes}
    said = changes["plaster"].why.replace("\N{NO-BREAK SPACE}", " ")
    assert said.endswith("is closed by the weather: 0.2 in of rain fall before the plaster has set and is past it")


def test_a_job_that_takes_the_crew_is_named(cast: Cast):
    """A stint whose crew the proposal sends elsewhere at that time."""
    job = planned_job(cast, "Site 07")
    other = open_job(cast.own, label="Site 08", earliest_date=None)
    expect(other, cast.own)
    with acting_for(cast.own.contractor.pk):
        other.promised_date = clock.now().date() + dt.timedelta(days=3)
        other.weight = 9
        other.state = "date_promised"
        other.save()
        Stint.objects.filter(job=job).update(plan=None)  # nothing of the first job holds its crews any more
    found = compared(cast, propose(cast.own))
    assert {row.job.site.label for row in found.jobs} == {"Site 07", "Site 08"}
    assert all(change.kind == "added" for row in found.jobs for change in row.changes)


def test_totals_count_days_and_way_on_both_sides(cast: Cast):
    job = planned_job(cast, "Site 07")
    absent_on(cast, plaster_of(cast, job))
    found = compared(cast, propose(cast.own))
    assert found.after.full_sum == found.before.full_sum + 1
    assert found.before.driven_m > 0
    assert (found.added, found.dropped) == (0, 0)
    assert found.moved >= 4


def test_the_page_shows_both_sides_held_drains_and_buttons(cast: Cast):
    job = planned_job(cast, "Site 07")
    absent_on(cast, plaster_of(cast, job))
    propose(cast.own)
    answer = office(cast).get(CHANGES)
    said = text_of(answer)
    for words in ("in force", "proposed", "1 day later", "Issue all of it", "None of it: keep the plan in force"):
        assert words in said
    assert "These drains would be held" in said
    assert "may be emptied" in said


def test_issuing_moves_the_stints_and_the_calendars(cast: Cast):
    job = planned_job(cast, "Site 07")
    before = plaster_of(cast, job)
    absent_on(cast, before)
    plan = propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        entry = CalendarEntry.objects.get(job=job, key="plaster")
        sequence = entry.sequence
        assert Stint.objects.get(pk=before.pk).starts == before.starts  # nothing moved before it is issued
    assert office(cast).post(reverse("plan-issue", args=[plan.pk])).status_code == 302
    with acting_for(cast.own.contractor.pk):
        entry.refresh_from_db()
        assert entry.sequence == sequence + 1
        assert Stint.objects.get(pk=before.pk).starts == before.starts + dt.timedelta(days=1)
        assert AuditEntry.objects.filter(what="plan issued", subject_id=plan.pk).count() == 1


def test_none_of_it_changes_nothing(cast: Cast):
    job = planned_job(cast)
    absent_on(cast, plaster_of(cast, job))
    plan = propose(cast.own)
    assert office(cast).post(reverse("plan-set-aside", args=[plan.pk])).status_code == 302
    with acting_for(cast.own.contractor.pk):
        plan.refresh_from_db()
        assert plan.state == PlanState.PAST
        assert Plan.objects.filter(state=PlanState.ISSUED).count() == 1
    assert office(cast).post(reverse("plan-set-aside", args=[plan.pk])).status_code == 422


def test_an_outdated_proposal_is_refused_and_both_sides_stay_in_sight(cast: Cast):
    job = planned_job(cast)
    absent_on(cast, plaster_of(cast, job))
    plan = propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        issued = Plan.objects.get(state=PlanState.ISSUED)
        Plan.objects.filter(pk=plan.pk).update(base_version=issued.version - 1)
    answer = office(cast).post(reverse("plan-issue", args=[plan.pk]))
    assert answer.status_code == 409
    said = text_of(answer)
    assert "ask for a new proposal" in said
    assert "in force" in said
    assert "training" in said
    with acting_for(cast.own.contractor.pk):
        plan.refresh_from_db()
        assert plan.state == PlanState.PROPOSED


def test_an_issued_plan_cannot_be_issued_again(cast: Cast):
    planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        plan = Plan.objects.get(state=PlanState.ISSUED)
    assert office(cast).post(reverse("plan-issue", args=[plan.pk])).status_code == 422


def two_jobs_moved(cast: Cast) -> tuple[Plan, Job, Job]:
    """Two pools; the proposal has a day closed for each, so each moves by itself."""
    first = planned_job(cast, "Site 01")
    second = open_job(cast.own, label="Site 02")
    expect(second, cast.own)
    issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)
        for job in (first, second):
            later(job)
    return propose(cast.own), first, second


def later(job: Job) -> None:
    """What is in force from the plaster on is three days later than it has to be."""
    for stint in Stint.objects.filter(job=job).exclude(state=StintState.DROPPED):
        if stint.stage in (Stage.PLASTER, Stage.FILL_START, Stage.FILL_END, Stage.START_UP):
            stint.starts += dt.timedelta(days=3)
            stint.ends += dt.timedelta(days=3)
            stint.save()


def starts_of(cast: Cast, job: Job) -> dict[str, dt.datetime]:
    with acting_for(cast.own.contractor.pk):
        rows = Stint.objects.filter(job=job).exclude(state=StintState.DROPPED)
        return {stint.key: stint.starts for stint in rows}


def take(cast: Cast, plan: Plan, *places: str):
    return office(cast).post(reverse("plan-issue-some", args=[plan.pk]), {"take": places})


def places_of(cast: Cast, plan: Plan, job: Job) -> list[str]:
    return [change.place for row in compared(cast, plan).jobs for change in row.changes if row.job == job]


def test_one_job_of_two_is_issued_and_the_other_stays(cast: Cast):
    plan, first, second = two_jobs_moved(cast)
    before = starts_of(cast, second)
    mine = places_of(cast, plan, first)
    assert mine
    assert take(cast, plan, *mine).status_code == 302
    assert starts_of(cast, second) == before
    with acting_for(cast.own.contractor.pk):
        issued = Plan.objects.get(state=PlanState.ISSUED)
        plan.refresh_from_db()
        assert issued.why == f"part of plan {plan.version}"
        assert plan.state == PlanState.PAST
        assert check(Problem.from_json(issued.problem), Answer.from_json(issued.answer)) == []
        assert AuditEntry.objects.filter(what="plan taken in part").count() == 1
    wanted = {(row["job"], row["stage"]) for row in plan.answer["stints"]}
    assert (str(first.pk), "plaster") in wanted
    assert set(starts_of(cast, first)) == set(before)


def test_a_plaster_day_without_its_fill_is_refused_and_says_what_it_needs(cast: Cast):
    plan, first, _second = two_jobs_moved(cast)
    before = starts_of(cast, first)
    alone = f"{first.pk}:fill_start"
    answer = take(cast, plan, alone)
    assert answer.status_code == 422
    said = text_of(answer)
    assert "keeps the rules only together with these moves" in said
    assert "101 Site 01: end of the fill" in said
    assert starts_of(cast, first) == before
    source = answer.content.decode()
    ticked = re.findall(r'name="take" value="([^"]+)" checked', source)
    assert alone in ticked
    assert take(cast, plan, *ticked).status_code == 302


def test_every_move_ticked_issues_the_proposal_itself(cast: Cast):
    plan, first, second = two_jobs_moved(cast)
    assert take(cast, plan, *places_of(cast, plan, first), *places_of(cast, plan, second)).status_code == 302
    with acting_for(cast.own.contractor.pk):
        assert Plan.objects.get(state=PlanState.ISSUED).pk == plan.pk


@pytest.mark.parametrize("places", [(), ("nobody:plaster",), ("",)])
def test_nothing_ticked_is_refused(cast: Cast, places: tuple[str, ...]):
    plan, _first, _second = two_jobs_moved(cast)
    answer = take(cast, plan, *places)
    assert answer.status_code == 422
    assert "No move was chosen" in text_of(answer)


def test_a_part_of_an_overtaken_proposal_is_refused(cast: Cast):
    plan, first, _second = two_jobs_moved(cast)
    mine = places_of(cast, plan, first)
    with acting_for(cast.own.contractor.pk):
        issued = Plan.objects.get(state=PlanState.ISSUED)
        Plan.objects.filter(pk=plan.pk).update(base_version=issued.version - 1)
    answer = take(cast, plan, *mine)
    assert answer.status_code == 409
    with acting_for(cast.own.contractor.pk):
        plan.refresh_from_db()
        assert plan.state == PlanState.PROPOSED
        assert Plan.objects.get(state=PlanState.ISSUED).pk == issued.pk


def test_a_job_left_out_says_why_on_changes_and_in_the_weeks(cast: Cast):
    planned_job(cast, "Site 01")
    out = open_job(cast.own, label="Site 02")
    expect(out, cast.own, plaster_days=[])
    never = open_job(cast.own, label="Site 03")
    propose(cast.own)
    said = text_of(office(cast).get(CHANGES))
    assert "102 Site 02 : there is no day on which the weather allows plaster" in said
    assert "103 Site 03 : its expected dates are not computed yet" in said
    assert "2 agreed jobs have no date yet" in said
    weeks = text_of(office(cast).get("/weeks/"))
    assert "102 Site 02 : there is no day on which the weather allows plaster" in weeks
    assert never.site.label in weeks


def test_what_a_sunday_duty_would_win_is_said(cast: Cast):
    """The cast's water crew works every day; with Sundays off its visits leave few fill days."""
    planned_job(cast, "Site 01")
    plan = propose(cast.own)
    crew = cast.own.crews["water"]
    rows = [
        {
            "kind": "sunday",
            "crew": str(crew.pk),
            "first": 16,
            "last": 32,
            "days_won": 5,
            "jobs_sooner": 3,
            "late_days_saved": 2,
        },
    ]
    evening = {"kind": "evening", "first": 32, "last": 44, "days_won": 1, "jobs_sooner": 1, "late_days_saved": 0}
    rows.append({**rows[0], **evening})
    with acting_for(cast.own.contractor.pk):
        Plan.objects.filter(pk=plan.pk).update(answer={**plan.answer, "duty": rows})
    said = text_of(office(cast).get(CHANGES))
    assert (
        "If water crew of own worked Sundays too, from 8:00 am to 4:00 pm, 3 pools would be full sooner, "
        "by 5 days in all, 2 days less late." in said
    )
    assert "stayed until 10:00 pm for an evening watch, 1 pool would be full sooner, by 1 day in all." in said


def test_the_search_keeps_what_longer_hours_would_win(cast: Cast):
    planned_job(cast, "Site 01")
    with acting_for(cast.own.contractor.pk):
        Shift.objects.filter(crew=cast.own.crews["water"], weekday=6).delete()
        for number in range(2, 5):
            expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
        found = planning_problem(cast.own.contractor, clock.now())
        answer = greedy(Problem.from_json(found.document))
        rows = findings_of(found, answer)
    assert all(row["days_won"] > 0 for row in rows)
    assert {row["kind"] for row in rows} <= {"sunday", "evening"}
    assert {row["crew"] for row in rows} <= {str(cast.own.crews["water"].pk)}


def test_a_proposal_without_changes_says_so(cast: Cast):
    planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)
    propose(cast.own)
    assert "The proposal changes nothing." in text_of(office(cast).get(CHANGES))


def test_the_number_of_queries_does_not_grow_with_the_changes(cast: Cast):
    job = planned_job(cast, "Site 01")
    absent_on(cast, plaster_of(cast, job))
    propose(cast.own)
    client = office(cast)
    few = queries(client, CHANGES)
    for number in range(2, 6):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    propose(cast.own)
    assert queries(client, CHANGES) == few


def test_roles_and_neighbours(cast: Cast):
    planned_job(cast, "Site 07")
    plan = propose(cast.own)
    assert client_of(cast.own.crew_lead).get(CHANGES).status_code == 403
    assert client_of(cast.own.crew_lead).post(reverse("plan-issue", args=[plan.pk])).status_code == 403
    assert client_of(cast.other.office).post(reverse("plan-issue", args=[plan.pk])).status_code == 404
    assert "Site 07" not in text_of(client_of(cast.other.office).get(CHANGES))
