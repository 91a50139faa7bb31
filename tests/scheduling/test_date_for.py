import datetime as dt

from django.urls import reverse

from jobs.models import BandPoint, ExpectedDates, Job, JobState
from jobs.services.weather_hours import cell_open, cell_refresh
from scheduling.models import Plan, PlanState, Stint
from scheduling.services.date_plans import date_plans
from shared import clock
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job
from tests.scheduling.office import office, planned_job, queries, text_of


def address(job: Job) -> str:
    return reverse("date-for", args=[job.pk])


def band_of(cast: Cast) -> dict[str, str]:
    with acting_for(cast.own.contractor.pk):
        return ExpectedDates.objects.get().band


def said_day(day: dt.date) -> str:
    return f"{day:%A} {day.day} {day:%B}"


def test_three_dates_with_their_words_and_what_to_say(cast: Cast):
    job = planned_job(cast, "Site 07")
    said = text_of(office(cast).get(address(job)))
    for name, words in (("p50", "even chance by"), ("p80", "8 in 10 by"), ("p90", "9 in 10 by")):
        assert f"{words} {said_day(dt.date.fromisoformat(band_of(cast)[name]))}" in said
    assert "nine chances in ten" in said
    assert "please plan nothing on that day" in said


def test_what_is_said_is_in_the_language_of_the_pool_owner(cast: Cast):
    job = planned_job(cast, "Site 07")
    with acting_for(cast.own.contractor.pk):
        job.pool_owner.language = "es"
        job.pool_owner.save()
    page = office(cast).get(address(job)).content.decode()
    assert '<q lang="es">Su piscina estará llena a más tardar el' in page
    assert "Your pool" not in page


def test_another_day_is_shown_with_its_chance(cast: Cast):
    job = planned_job(cast)
    day = dt.date.fromisoformat(band_of(cast)["p50"]) + dt.timedelta(days=1)
    answer = office(cast).get(address(job), {"day": day.isoformat()})
    assert "58 %" in text_of(answer)  # the cast's shares: 30, 44, 58 ...
    assert 'class="chosen"' in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
        assert job.promised_date is None  # looking promises nothing


def test_promising_keeps_the_band_of_the_moment(cast: Cast):
    job = planned_job(cast)
    band = band_of(cast)
    answer = office(cast).post(address(job), {"day": band["p90"]})
    assert answer.status_code == 302
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
        assert job.promised_date.isoformat() == band["p90"]
        assert job.promised_band == band
        assert job.state == JobState.DATE_PROMISED
        assert AuditEntry.objects.filter(what="date promised", subject_id=job.pk).count() == 1


def test_a_day_that_cannot_be_is_refused_with_the_range_and_kept(cast: Cast):
    job = planned_job(cast)
    for typed, words in (
        ("2001-01-01", "The promised date is 2001-01-01; allowed is"),
        ("soon", "“soon” is not a date; write it as 2027-03-31."),
        ("", "This field is required."),
    ):
        answer = office(cast).post(address(job), {"day": typed})
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert typed in answer.content.decode()
    with acting_for(cast.own.contractor.pk):
        job.refresh_from_db()
        assert job.promised_date is None


def test_a_date_before_the_plan_says_what_it_asks_of_others(cast: Cast):
    job = planned_job(cast)
    tomorrow = clock.now().astimezone(job.site.tz).date() + dt.timedelta(days=1)
    said = text_of(office(cast).get(address(job), {"day": tomorrow.isoformat()}))
    assert "Needs a new plan: the plan in force has it full only" in said
    assert "it is more likely to be later" in said


def test_a_job_without_a_scope_has_no_dates_yet(cast: Cast):
    job = open_job(cast.own, agreed=False)
    said = text_of(office(cast).get(address(job)))
    assert "Agree the scope first" in said
    assert office(cast).post(address(job), {"day": "2090-01-01"}).status_code == 422


def test_a_job_whose_dates_are_not_computed_may_still_be_promised(cast: Cast):
    job = open_job(cast.own)
    said = text_of(office(cast).get(address(job)))
    assert "No expected dates are there yet" in said
    day = clock.now().date() + dt.timedelta(days=30)
    assert office(cast).post(address(job), {"day": day.isoformat()}).status_code == 302


def test_the_number_of_queries_is_small_and_constant(cast: Cast):
    job = planned_job(cast)
    client = office(cast)
    few = queries(client, address(job))
    with acting_for(cast.own.contractor.pk):
        for number in range(20):
            BandPoint.objects.create(job=job, at=clock.now() - dt.timedelta(days=number))
    expect(open_job(cast.own, label="Site 02"), cast.own)
    assert queries(client, address(job)) == few


def test_roles_and_neighbours(cast: Cast):
    job = planned_job(cast)
    assert client_of(cast.own.crew_lead).get(address(job)).status_code == 403
    assert client_of(cast.other.office).get(address(job)).status_code == 404
    assert client_of(cast.other.office).post(address(job), {"day": "2030-01-01"}).status_code == 404


def plans_path(job: Job) -> str:
    return reverse("date-plans", args=[job.pk])


def a_new_job(cast: Cast, **changes) -> Job:
    """One pool in force, and another that nobody has planned."""
    planned_job(cast, "Site 01")
    job = open_job(cast.own, label="Site 02", **changes)
    expect(job, cast.own)
    return job


def ways(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        return date_plans(cast.own.contractor, job, clock.now(), "us")


def test_a_new_job_finds_its_place_without_moving_anybody(cast: Cast):
    job = a_new_job(cast)
    found = ways(cast, job)
    assert found.free is not None
    assert found.free.pushes == ()
    assert not found.already
    with acting_for(cast.own.contractor.pk):
        assert not Stint.objects.filter(job=job).exists()
        assert not Plan.objects.filter(state=PlanState.PROPOSED).exists()


def test_with_others_giving_way_it_is_full_sooner_and_says_whom_it_pushes(cast: Cast):
    days = [[day, 48 * day + 16, 48 * day + 20, 16, 12] for day in (6, 9, 12)]  # one crew: one pool a day
    first = open_job(cast.own, label="Site 01")
    expect(first, cast.own, plaster_days=days)
    issue(cast.own)
    job = open_job(cast.own, label="Site 02")
    expect(job, cast.own, plaster_days=days)
    found = ways(cast, job)
    assert found.others
    for way in found.others:
        assert way.planned < found.free.planned
        assert any("Site 01" in words for words in way.pushes)


def test_each_way_has_its_band_and_the_sentence_to_say(cast: Cast):
    """The band rests on the weather of the site: any source will do here."""
    job = a_new_job(cast)
    with acting_for(cast.own.contractor.pk):
        cell_refresh(cell_open(job.site, Firm.objects.get().source), clock.now())
    found = ways(cast, job)
    told = found.free.told
    assert [one.share for one in told] == [0.5, 0.8, 0.9]
    days = [one.day for one in told if one.day]
    assert days == sorted(days)
    assert all(day >= found.free.planned for day in days)
    assert all("Your pool" in one.sentence for one in told if one.day)


def test_a_job_without_a_place_says_which_facts_collide(cast: Cast):
    job = a_new_job(cast)
    expect(job, cast.own, plaster_days=[])
    said = text_of(office(cast).get(plans_path(job)))
    assert "Without moving anybody there is no place: there is no day on which the weather allows plaster." in said


def test_the_ways_come_as_a_part_of_the_page_or_as_a_page(cast: Cast):
    job = a_new_job(cast)
    client = office(cast)
    page, part = client.get(plans_path(job)), client.get(plans_path(job), headers={"HX-Request": "true"})
    assert "<main" in page.content.decode()
    assert "<main" not in part.content.decode()
    assert "Nobody else moves" in text_of(page)
    assert plans_path(job) in client.get(address(job)).content.decode()


def test_a_job_whose_dates_are_not_computed_has_no_ways(cast: Cast):
    job = open_job(cast.own)
    assert ways(cast, job) is None
    assert "no expected dates yet" in text_of(office(cast).get(plans_path(job)))


def test_the_ways_of_a_neighbour_are_not_there(cast: Cast):
    job = a_new_job(cast)
    assert client_of(cast.other.office).get(plans_path(job)).status_code == 404
    assert client_of(cast.own.crew_lead).get(plans_path(job)).status_code == 403
