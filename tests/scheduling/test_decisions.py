import datetime as dt

import pytest
from django.urls import reverse

from jobs.models import ExpectedDates, JobState, LogKind, Photo, Survey
from jobs.services.site_logs import log_take
from jobs.services.states import date_promise
from scheduling.models import Plan, PlanState, Stage, Stint, StintState
from scheduling.selectors.decision_facts import decision_facts
from scheduling.selectors.decision_kinds import KINDS
from scheduling.selectors.decisions import Decision, Kind, decisions, until_words
from scheduling.services.plans import drain_release
from shared import clock
from shared.models import Role
from shared.services.members import contractor_open, member_add, person_register
from shared.tenancy.context import acting_as, acting_for
from tests.cast import Cast, client_of, expect, issue, open_job, propose
from tests.scheduling.office import office, planned_job, queries, text_of

HOME = "/"


def lines(cast: Cast, kinds: tuple[Kind, ...] = KINDS) -> list[Decision]:
    with acting_for(cast.own.contractor.pk):
        return decisions(decision_facts(cast.own.contractor, clock.now()), kinds)


def kinds_of(cast: Cast) -> list[str]:
    return [line.kind for line in lines(cast)]


def one(cast: Cast, kind: str) -> Decision:
    return next(line for line in lines(cast) if line.kind == kind)


def change(cast: Cast, job, **fields) -> None:
    with acting_for(cast.own.contractor.pk):
        for name, value in fields.items():
            setattr(job, name, value)
        job.save(update_fields=list(fields))


def the_stint(cast: Cast, job, key: str) -> Stint:
    with acting_for(cast.own.contractor.pk):
        return Stint.objects.get(job=job, key=key)


def place(cast: Cast, stint: Stint, begin: dt.datetime, hours: float = 4.0, **fields) -> None:
    with acting_for(cast.own.contractor.pk):
        stint.starts, stint.ends = begin, begin + dt.timedelta(hours=hours)
        for name, value in fields.items():
            setattr(stint, name, value)
        stint.save()


def test_a_new_firm_is_told_what_to_do_first(db):
    firm = contractor_open(slug="new", name="New Basin Works", zone="America/New_York", units="us")
    person = person_register(email="office@new.example", name="office of new", password="a quiet basin in april")
    with acting_for(firm.pk), acting_as(person.pk):
        member = member_add(person, Role.OFFICE, by="test")
    member.person = person
    said = text_of(client_of(member).get(HOME))
    assert "Set up your crews" in said
    assert "Open the first job" in said


def test_nothing_to_decide_says_what_comes_next(cast: Cast):
    job = planned_job(cast, "Site 07")
    change(cast, job, state=JobState.DATE_PROMISED, promised_date=clock.now().date() + dt.timedelta(days=40))
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(state=StintState.PROPOSED).update(state=StintState.ISSUED)
        row = ExpectedDates.objects.get()
        row.verdicts = []
        row.save()
    assert kinds_of(cast) == []
    said = text_of(office(cast).get(HOME))
    assert "Nothing needs a decision. Next: drain: set up pump, Site 07" in said


def test_a_held_drain_names_the_missing_record_and_never_says_safe(cast: Cast):
    planned_job(cast, "Site 07", site={"high_groundwater": True})
    line = one(cast, "held_drain")
    assert line.risk == "The drain at Site 07 is held."
    assert "No groundwater record" in line.why
    assert "Groundwater is known or suspected to be high there." in line.why
    assert line.ways[0].url.endswith("#groundwater")
    assert "safe" not in text_of(office(cast).get(HOME)).lower()


def test_a_drain_is_no_decision_before_the_record_could_hold(cast: Cast):
    job = planned_job(cast)
    place(cast, the_stint(cast, job, Stage.DRAIN_SETUP), clock.now() + dt.timedelta(days=8))
    assert "held_drain" not in kinds_of(cast)


def test_a_promise_with_less_than_nine_chances_in_ten_is_in_doubt(cast: Cast):
    job = planned_job(cast, "Site 07")
    with acting_for(cast.own.contractor.pk):
        band = ExpectedDates.objects.get().band
    promised = dt.date.fromisoformat(band["p50"])
    with acting_for(cast.own.contractor.pk):
        date_promise(job, day=promised, by=cast.own.office)
    line = one(cast, "promise")
    assert "holds with a chance of 44 %" in line.risk.replace("\N{NO-BREAK SPACE}", " ")
    assert "4 days after it" in line.measure  # p90 lies four days after p50
    assert "apply and trowel: cold (1.2 days on average)" in line.why
    assert line.ways[1].url == reverse("date-for", args=[job.pk]) + f"?day={band['p90']}"
    # shares 30, 44, 58, 72, 86, 100 % by days -1 to 4: 14 % a day on days 1 to 4 after the promise
    assert line.lost_days == pytest.approx(0.14 * (1 + 2 + 3 + 4), abs=1e-6)


def test_a_promise_with_nine_chances_in_ten_is_no_decision(cast: Cast):
    job = planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        date_promise(job, day=clock.now().date() + dt.timedelta(days=30), by=cast.own.office)
    assert "promise" not in kinds_of(cast)


def test_a_plaster_day_the_weather_doubts_is_said_with_the_reason_and_the_next_clear_day(cast: Cast):
    job = planned_job(cast, "Site 07")
    first = clock.now().astimezone(job.site.tz)
    day = first.replace(hour=8, minute=0, second=0, microsecond=0) + dt.timedelta(days=2)  # "cannot plaster"
    place(cast, the_stint(cast, job, Stage.PLASTER), day)
    line = one(cast, "plaster_day")
    assert "cannot plaster" in line.risk
    assert "must stay at or above" in line.why
    assert "The next clear day is" in line.measure
    assert "1 day later" in line.measure
    assert line.lost_days == pytest.approx(3.0)


def test_a_plaster_day_four_days_ahead_is_left_to_the_weather(cast: Cast):
    job = planned_job(cast)
    place(cast, the_stint(cast, job, Stage.PLASTER), clock.now() + dt.timedelta(days=5))
    assert "plaster_day" not in kinds_of(cast)


def test_what_is_over_and_not_logged_can_be_logged_with_one_button(cast: Cast):
    job = planned_job(cast, "Site 07")
    stint = the_stint(cast, job, Stage.PREP)
    place(cast, stint, clock.now() - dt.timedelta(hours=9), state=StintState.ISSUED)
    line = one(cast, "not_logged")
    assert "Chip and prep at Site 07 is over by the plan and not logged" in line.risk
    way = line.ways[0]
    answer = office(cast).post(way.url, dict(way.fields))
    assert answer.status_code == 302
    assert answer.url == HOME
    with acting_for(cast.own.contractor.pk):
        stint.refresh_from_db()
        assert stint.state == StintState.DONE
        assert abs(stint.done_at - stint.ends) < dt.timedelta(minutes=1)


def test_a_fill_that_nobody_ends_is_the_first_line(cast: Cast):
    job = planned_job(cast, "Site 07")
    place(cast, the_stint(cast, job, Stage.FILL_START), clock.now() - dt.timedelta(hours=9), state=StintState.DONE)
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, key=Stage.FILL_END).update(state=StintState.DROPPED)
    change(cast, job, state=JobState.FILLING)
    first = lines(cast)[0]
    assert first.kind == "fill_alone"
    assert "Full between" in first.measure
    assert first.ways[0].fields["branch"] == "main"


def test_a_bond_coat_that_grows_too_old_before_its_plaster_day(cast: Cast):
    job = planned_job(cast, "Site 07")
    done = clock.now() - dt.timedelta(days=3)
    place(cast, the_stint(cast, job, Stage.BOND), done, state=StintState.DONE, done_at=done + dt.timedelta(hours=4))
    plaster = the_stint(cast, job, Stage.PLASTER)
    place(cast, plaster, clock.now() + dt.timedelta(days=4))
    line = one(cast, "old_bond_coat")
    assert "No plaster day is set before that." in line.why
    assert line.left_days == pytest.approx(2 + 4 / 24, abs=0.05)  # five days of recoat age
    place(cast, plaster, clock.now() + dt.timedelta(days=1, hours=12))
    assert "old_bond_coat" not in kinds_of(cast)


def test_a_fill_no_crew_can_end_names_hoses_and_an_evening_watch(cast: Cast):
    job = open_job(cast.own, label="Site 07")
    row = expect(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        row.band |= {"later": 0.4, "lost_days": [["fill", "fill_crew", 6.0]]}
        row.save()
    line = one(cast, "fill_crew")
    assert "It takes 22 to 24 hours" in line.why
    assert [way.label for way in line.ways] == ["Other hoses or flow", "An evening watch"]


def test_scopes_dates_and_plans_that_wait(cast: Cast):
    surveyed = open_job(cast.own, label="Surveyed", agreed=False)
    agreed = open_job(cast.own, label="Agreed")
    expect(agreed, cast.own)
    with acting_for(cast.own.contractor.pk):
        Survey.objects.filter(pool=surveyed.pool).update(taken_at=clock.now() - dt.timedelta(days=3))
    found = {line.kind: line for line in lines(cast)}
    assert "3 days ago" in found["scope"].measure
    assert "No photo of the pool is kept yet." in found["scope"].why
    assert found["scope"].ways[0].url == reverse("scope-agree", args=[surveyed.pk])
    assert "Agreed has no promised date." in found["date"].risk
    assert "1 job in main stands in no plan." in found["no_plan"].risk
    propose(cast.own)
    with acting_for(cast.own.contractor.pk):
        same = {"sha256": "a", "size": 1, "width": 1, "height": 1, "added_at": clock.now(), "added_by": "cast"}
        Photo.objects.create(pool=surveyed.pool, file="a", small_file="b", **same)
    found = {line.kind: line for line in lines(cast)}
    assert "photo" not in found["scope"].why
    assert "no_plan" not in found
    assert found["proposal"].ways[0].url == reverse("changes")


def test_an_outdated_proposal_is_said_to_be_outdated(cast: Cast):
    planned_job(cast)
    with acting_for(cast.own.contractor.pk):
        plan = Plan.objects.get(state=PlanState.ISSUED)
        Plan.objects.create(
            state=PlanState.PROPOSED, version=99, base_version=plan.version - 1, first_day=plan.first_day,
            problem={}, answer={}, objective=0,
        )  # fmt: skip
    line = one(cast, "proposal")
    assert "outdated" in line.risk
    assert line.ways[0].url == reverse("plan-ask")


def test_old_weather_is_said_and_can_be_fetched_again(cast: Cast):
    job = open_job(cast.own)
    row = expect(job, cast.own)
    with acting_for(cast.own.contractor.pk):
        row.weather_issued_at = clock.now() - dt.timedelta(hours=13)
        row.save()
    line = one(cast, "weather")
    assert line.risk == "The weather of main is 13 hours old."
    assert office(cast).post(line.ways[0].url).status_code == 302


def test_the_dearest_to_leave_stands_first(cast: Cast):
    def line(kind: str, lost: float, left: float, weight: int = 1) -> Decision:
        return Decision(kind, "", "", "", (), lost, left, weight)

    with acting_for(cast.own.contractor.pk):
        facts = decision_facts(cast.own.contractor, clock.now())
        found = decisions(
            facts,
            (lambda _: [line("slow", 1, 10), line("soon", 1, 0.5), line("heavy", 1, 2, 9), line("now", 1, 0.0)],),
        )
    assert [each.kind for each in found] == ["heavy", "now", "soon", "slow"]


def test_a_groundwater_record_takes_the_line_away(cast: Cast):
    job = planned_job(cast)
    assert "held_drain" in kinds_of(cast)
    with acting_for(cast.own.contractor.pk):
        record = {"groundwater_m": 3.0, "relief_valve": "moves freely", "rain_mm": 2}
        log_take(job, kind=LogKind.GROUNDWATER, by="lead", data=record)
        assert drain_release(job, by=cast.own.office) == 2
    assert "held_drain" not in kinds_of(cast)


def test_the_number_of_queries_does_not_grow_with_the_jobs(cast: Cast):
    planned_job(cast, "Site 01")
    client = office(cast)
    few = queries(client, HOME)
    for number in range(2, 6):
        expect(open_job(cast.own, label=f"Site 0{number}"), cast.own)
    issue(cast.own)
    assert queries(client, HOME) == few


def test_a_crew_lead_may_not_decide_and_a_neighbour_sees_nothing(cast: Cast):
    planned_job(cast, "Site 07")
    sent = client_of(cast.own.crew_lead).get(HOME)
    assert (sent.status_code, sent.headers["Location"]) == (302, reverse("today")), "their own first page"
    assert "Site 07" not in text_of(client_of(cast.other.office).get(HOME))


def test_every_line_says_by_when(cast: Cast):
    job = planned_job(cast, "Site 07")
    noon = clock.now().astimezone(job.site.tz).replace(hour=12, minute=0, second=0, microsecond=0)
    with clock.clock_at(noon):
        place(cast, the_stint(cast, job, Stage.DRAIN_SETUP), noon + dt.timedelta(hours=2))
        assert the_words(cast, "held_drain", noon) == "now"
        place(cast, the_stint(cast, job, Stage.DRAIN_SETUP), noon + dt.timedelta(hours=5))
        assert the_words(cast, "held_drain", noon) == "today by 5:00 pm"
        place(cast, the_stint(cast, job, Stage.DRAIN_SETUP), noon + dt.timedelta(hours=20))
        assert the_words(cast, "held_drain", noon) == "by tomorrow, 8:00 am"
        day = noon + dt.timedelta(days=3)
        place(cast, the_stint(cast, job, Stage.DRAIN_SETUP), day)
        assert the_words(cast, "held_drain", noon) == f"by {day:%a} {day.day} {day:%b}"
        assert "measured on site, or a licensed opinion" in text_of(office(cast).get(HOME))


def test_a_line_that_is_estimated_in_days_names_the_day_and_no_minute(cast: Cast):
    planned_job(cast, "Site 07")
    propose(cast.own)
    assert the_words(cast, "proposal", clock.now()) == "by tomorrow"


def the_words(cast: Cast, kind: str, now: dt.datetime) -> str:
    return until_words(one(cast, kind), now, "us")


def emptied(cast: Cast):
    """A planned job whose pool is empty: both stints of its drain are done."""
    job = planned_job(cast, "Site 07")
    change(cast, job, state=JobState.UNDER_WAY)
    for key in (Stage.DRAIN_SETUP, Stage.DRAIN_PULL):
        place(cast, the_stint(cast, job, key), clock.now() - dt.timedelta(days=1), state=StintState.DONE)
    return job


def sound(cast: Cast, job, hollow: float) -> None:
    client = office(cast)
    assert client.post(reverse("survey-dry", args=[job.pk])).status_code == 302
    answered = client.post(reverse("survey", args=[job.pk]), {"name": "hollow_share", "value": f"{hollow:g}"})
    assert answered.status_code == 302


def test_an_empty_shell_under_a_provisional_scope_is_to_be_sounded(cast: Cast):
    job = emptied(cast)
    line = one(cast, "sound_dry")
    assert line.risk == "The shell at Site 07 is empty and was not sounded."
    assert "Chip and prep is set for" in line.measure
    with clock.clock_at(clock.now() + dt.timedelta(minutes=5)):
        assert office(cast).post(line.ways[0].url).status_code == 302
        sound(cast, job, 4)
        assert "sound_dry" not in kinds_of(cast)


def test_more_hollow_area_than_agreed_asks_for_a_new_scope_until_it_is_agreed(cast: Cast):
    job = emptied(cast)
    with clock.clock_at(clock.now() + dt.timedelta(minutes=5)):
        sound(cast, job, 24)
        line = one(cast, "scope_again")
        assert "the survey now asks for “strip to the shell”" in line.risk
        assert line.why == "Sounded dry, 24 % of the area is hollow."
        assert line.ways[0].url == reverse("scope-agree", args=[job.pk])
    with clock.clock_at(clock.now() + dt.timedelta(minutes=10)):
        assert office(cast).post(line.ways[0].url, {"kind": "strip", "why": "", "repairs_h": ""}).status_code == 302
        assert "scope_again" not in kinds_of(cast)


def test_a_sounding_that_changes_nothing_settles_the_scope(cast: Cast):
    job = emptied(cast)
    with clock.clock_at(clock.now() + dt.timedelta(minutes=5)):
        sound(cast, job, 1)
        line = one(cast, "scope_again")
        assert line.ways[0].label in ("Agree it for good", "Agree the new scope")


def test_from_every_name_it_is_one_click_to_the_job(cast: Cast):
    job = planned_job(cast, "Site 07, <Alder> Court")
    page = office(cast).get(HOME).content.decode()
    assert f'<a href="{reverse("job", args=[job.pk])}">Site 07, &lt;Alder&gt; Court</a>' in page
