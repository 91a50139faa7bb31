"""What finished work says about the firm's own rates, from the tap on site to the hours of the next plan."""

import datetime as dt

import pytest
from django.core.exceptions import ValidationError

from jobs.models import LearningReset, Outcome
from jobs.selectors.learned import firm_figures, firm_rates, learned_all, rate, set_time
from jobs.selectors.quantities import job_quantities, scope_latest
from jobs.timeline.plaster_day import plaster_day
from jobs.timeline.rates import Rates
from scheduling.models import Stint
from scheduling.selectors.plaster_day import plaster_job_of
from scheduling.selectors.plaster_record import day_record
from scheduling.selectors.site_weather import day_course
from scheduling.services.firm_settings import rates_set
from scheduling.services.outcomes import BEYOND_REASON, learning_reset, outcome_count
from scheduling.services.plans import stint_mark
from scheduling.services.site_work import site_log
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.cast import open_job
from tests.scheduling.on_site import at, job_under_way, on_day, stint_at, with_weather


def _prep_done(cast, job, slower: float, day: int) -> Stint:
    """Prep of a job that took *slower* times what the usual figures expect."""
    with acting_for(cast.own.contractor.pk):
        Stint.objects.filter(job=job, key="prep").delete()
    stint = stint_at(job, cast.own, "prep", at(8), at(16))
    with acting_for(cast.own.contractor.pk):
        stint = Stint.objects.select_related("job__site", "job__pool", "crew").get(pk=stint.pk)
        work = job_quantities(job, scope_latest(job), firm_figures(Firm.objects.get()))
        usual = work.prep_person_h / stint.crew.people
        return stint_mark(stint, "done", at=at(16) + dt.timedelta(days=day), by="cast", hours=slower * usual)


@pytest.fixture
def jobs(cast):
    with on_day(6):
        return [open_job(cast.own, label=f"Site {number:02d}") for number in range(1, 7)]


def _firm(cast) -> Firm:
    return Firm.objects.get()


def test_slow_prep_makes_the_next_scope_longer_and_says_by_how_much(cast, jobs):
    with on_day(6, dt.date(2026, 5, 20)):
        for day, job in enumerate(jobs):
            _prep_done(cast, job, 1.25, day)
        with acting_for(cast.own.contractor.pk):
            found = rate(_firm(cast), "prep")
            assert found.n == 6 and found.factor == pytest.approx(1.25, abs=0.02)
            assert found.low < found.factor < found.high and 0.9 < found.own_weight < 1
            slow, usual = firm_rates(_firm(cast)), Rates()
            longer = job_quantities(jobs[0], scope_latest(jobs[0]), slow).prep_person_h
            before = job_quantities(jobs[0], scope_latest(jobs[0]), usual).prep_person_h
    assert longer / before == pytest.approx(found.factor, abs=0.02)
    assert slow.laying_m2_h == usual.laying_m2_h and slow.reference_set_h == usual.reference_set_h


def test_hours_typed_as_minutes_change_next_to_nothing(cast, jobs):
    with on_day(6, dt.date(2026, 5, 20)):
        for day, job in enumerate(jobs[:5]):
            _prep_done(cast, job, 1.2, day)
        with acting_for(cast.own.contractor.pk):
            honest = rate(_firm(cast), "prep").factor
        _prep_done(cast, jobs[5], 1.2 * 60, 6)
        with acting_for(cast.own.contractor.pk):
            found = rate(_firm(cast), "prep")
            assert found.n == 6 and found.factor == pytest.approx(honest, rel=0.03)
            assert found.weights[-1] < 0.05


def test_hours_beyond_all_reason_are_kept_but_do_not_count(cast, jobs):
    with on_day(6, dt.date(2026, 5, 20)):
        _prep_done(cast, jobs[0], 500.0, 0)
        with acting_for(cast.own.contractor.pk):
            assert Outcome.objects.get().left_out == BEYOND_REASON
            assert rate(_firm(cast), "prep").n == 0


def test_left_out_by_the_office_with_a_reason_and_counted_again(cast, jobs):
    with on_day(6, dt.date(2026, 5, 20)):
        _prep_done(cast, jobs[0], 2.0, 0)
        with acting_for(cast.own.contractor.pk):
            row = Outcome.objects.get()
            with pytest.raises(ValidationError, match="Say why"):
                outcome_count(row, counts=False, by=cast.own.manager, why=" ")
            outcome_count(row, counts=False, by=cast.own.manager, why="two crews were there")
            assert rate(_firm(cast), "prep").n == 0
            outcome_count(row, counts=True, by=cast.own.manager)
            assert rate(_firm(cast), "prep").n == 1
            said = AuditEntry.objects.filter(subject="outcome").order_by("at", "id").values_list("what", flat=True)
            assert sorted(said) == ["outcome counts again", "outcome left out"]


def test_beginning_anew_forgets_nothing_but_counts_only_what_comes_after(cast, jobs):
    with on_day(6, dt.date(2026, 4, 20)):
        _prep_done(cast, jobs[0], 1.5, 0)
    with on_day(6, dt.date(2026, 4, 21)), acting_for(cast.own.contractor.pk):
        learning_reset("prep", by=cast.own.manager, why="a new crew")
        assert rate(_firm(cast), "prep").n == 0 and Outcome.objects.count() == 1
    with on_day(6, dt.date(2026, 4, 28)):
        _prep_done(cast, jobs[1], 1.5, 8)
        with acting_for(cast.own.contractor.pk):
            assert rate(_firm(cast), "prep").n == 1
            assert AuditEntry.objects.filter(what="learning begun anew").get().after == {
                "what": "prep",
                "why": "a new crew",
            }


def test_a_figure_that_is_changed_is_learned_anew(cast, jobs):
    with on_day(6, dt.date(2026, 4, 20)):
        _prep_done(cast, jobs[0], 1.5, 0)
    with on_day(7, dt.date(2026, 4, 20)), acting_for(cast.own.contractor.pk):
        rates_set(_firm(cast), {"strip_m2_h": 2.0}, by=cast.own.manager)
        assert {row.what for row in LearningReset.objects.all()} == {"prep"}
        assert rate(_firm(cast), "prep").n == 0 and firm_rates(_firm(cast)).strip_m2_h == 2.0


@pytest.fixture
def plastered(cast):
    """A plaster day of which every section and pass is tapped; passes come in 0.85 of the planned age of the set."""
    with on_day(6):
        job = job_under_way(cast.own)
        stint = stint_at(job, cast.own, "plaster", at(7), at(14))
        with_weather(job, cast.own)
    return job, stint


def _tap_everything(cast, job, stint, pace: float) -> None:
    firm = cast.own
    with on_day(23.5), acting_for(firm.contractor.pk):
        stint = Stint.objects.select_related("job__site", "job__pool", "crew").get(pk=stint.pk)
        site_log(job, kind="laid", by=firm.crew_lead, at=at(7.25), data={"section": 1})
        course = day_course(job.site, "archive", at(0))
        work = plaster_job_of(job, stint, Firm.objects.get(), course.sun_shift_days, Rates())
        each = work.laying_h / work.section_count
        mixed = {number: 7.25 - each + (number - 1) * each for number in range(1, work.section_count + 1)}
        timed = plaster_day(at(0).date(), min(mixed.values()), work, course.weather, mixed_at_h=mixed)
        for number in range(2, work.section_count + 1):
            site_log(job, kind="laid", by=firm.crew_lead, at=at(mixed[number] + each), data={"section": number})
        for one in timed.passes:
            for cell in one.sections:
                start = mixed[cell.section]
                hour = start + pace * (cell.done_h - start)
                data = {"pass": one.number, "section": cell.section}
                site_log(job, kind="pass", by=firm.crew_lead, at=at(hour), data=data)


def test_passes_made_as_planned_say_that_the_clock_is_right(cast, plastered):
    job, stint = plastered
    _tap_everything(cast, job, stint, 1.0)
    with on_day(23.6), acting_for(cast.own.contractor.pk):
        stint = Stint.objects.select_related("job__site", "job__pool", "crew").get(pk=stint.pk)
        record = day_record(stint, Firm.objects.get())
        assert record is not None and record.evidence is not None
        assert record.evidence.ratio == pytest.approx(1.0, abs=0.01)
        assert record.laying_h == pytest.approx(record.planned_laying_h, rel=0.01)
        assert all(abs(one.late_min) < 1 for one in record.passes)


def test_a_mix_that_sets_faster_brings_the_next_plaster_day_forward(cast, plastered):
    job, stint = plastered
    _tap_everything(cast, job, stint, 0.85)
    with on_day(23.6), acting_for(cast.own.contractor.pk):
        stint = Stint.objects.select_related("job__site", "job__pool", "crew").get(pk=stint.pk)
        stint_mark(stint, "done", at=at(20), by=cast.own.crew_lead)
        found = set_time(Firm.objects.get())
        assert found.n == 1 and 0.80 < found.factor < 0.95
        assert firm_rates(Firm.objects.get()).reference_set_h == pytest.approx(3.5 * found.factor, abs=0.03)
        row = Outcome.objects.get(what="set")
        assert row.took_h / row.expected_h == pytest.approx(0.85, abs=0.05)


def test_a_pass_sent_after_the_day_is_closed_still_counts(cast, plastered):
    job, stint = plastered
    with on_day(21), acting_for(cast.own.contractor.pk):
        stint = Stint.objects.select_related("job__site", "job__pool", "crew").get(pk=stint.pk)
        site_log(job, kind="laid", by=cast.own.crew_lead, at=at(8), data={"section": 1})
        stint.refresh_from_db()
        stint_mark(stint, "done", at=at(20), by=cast.own.crew_lead)
        assert not Outcome.objects.exists()
        site_log(job, kind="laid", by=cast.own.crew_lead, at=at(8.5), data={"section": 2})
        assert Outcome.objects.get().what == "laying"


def test_a_neighbours_outcomes_teach_nobody_else(cast, jobs):
    with on_day(6, dt.date(2026, 5, 20)):
        _prep_done(cast, jobs[0], 1.5, 0)
        with acting_for(cast.other.contractor.pk):
            assert all(one.n == 0 for one in learned_all(Firm.objects.get()).values())
