"""Builds the demonstration through the services that people use, dated so that it is alive today.

The past is lived through: jobs are opened, planned and worked day by day at earlier moments, then today's plan is
made. Nothing is written that a user could not have written.
"""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

from django.db.transaction import atomic

from fixtures_demo.firms import FIRMS, PASSWORD, DemoCrew, DemoFirm, DemoJob
from fixtures_demo.past import PLAN_EFFORT, PLAN_EVERY, fill_now, live_through, past_moments, plan
from fixtures_demo.welcome import welcome
from jobs.models import Job, JobState
from jobs.services.first_call import job_open
from jobs.services.scopes import scope_agree
from jobs.services.states import date_promise, job_move
from jobs.services.surveys import survey_record
from jobs.timeline.weather_files import typical_year
from scheduling.models import Crew
from scheduling.services.crews import crew_make
from scheduling.services.expected_dates import expected_dates_refresh_all
from scheduling.services.firm_settings import firm_change
from shared import clock
from shared.backend import person_of
from shared.models import Contractor, Firm, Membership, Person, Role
from shared.services.members import contractor_open, member_add, person_register
from shared.tenancy.context import acting_as, acting_for

BOTH = "both@firms.example"
HISTORY_DAYS = 60
NEEDS_EMPTY_POOL = "hollow_share"


def build(now: dt.datetime) -> list[str]:
    """Build what is missing, one firm after the other; the lines to print: addresses and logins."""
    both_register()
    for slug in missing():
        firm_build(slug, now)
    return welcome()


def both_register() -> Person:
    """The manager who belongs to both firms: there before either is built, since they may be built side by side."""
    return person_of(BOTH) or person_register(email=BOTH, name="Manager of both firms", password=PASSWORD)


def missing() -> list[str]:
    """The words of the firms that are not there."""
    return [firm.slug for firm in FIRMS if not Contractor.objects.filter(slug=firm.slug).exists()]


@atomic
def firm_build(slug: str, now: dt.datetime) -> None:
    """One firm, as a whole or not at all."""
    _firm_build(next(firm for firm in FIRMS if firm.slug == slug), now)


def _firm_build(firm: DemoFirm, now: dt.datetime) -> None:
    start = now - dt.timedelta(days=HISTORY_DAYS)
    with clock.clock_at(start):
        contractor = contractor_open(slug=firm.slug, name=firm.name, zone=firm.zone, units=firm.units)
        with acting_for(contractor.pk):
            Firm.objects.update(words={"banner": _banner(firm, now)}, phone=firm.phone)
            office = _members(firm)
            firm_change(Firm.objects.get(), by=office, phone=firm.phone)
            crews = [_crew(crew) for crew in firm.crews]
            _leads(firm, crews)
    with acting_for(contractor.pk):
        waiting = sorted(firm.jobs, key=lambda job: -job.opened_days_ago)
        for moment in past_moments(start, now):
            while waiting and now - dt.timedelta(days=waiting[0].opened_days_ago) <= moment:
                _open(contractor, firm, waiting.pop(0), office, now)
            live_through(contractor, firm, office, moment, min(moment + PLAN_EVERY, now))
        for job in waiting:
            _open(contractor, firm, job, office, now)
        with clock.clock_at(now):
            fill_now(firm, now)
            plan(contractor, office, now, PLAN_EFFORT)
            expected_dates_refresh_all(contractor, now)


def _banner(firm: DemoFirm, now: dt.datetime) -> str:
    """Which day of the weather files stands for today."""
    today = f"{now.astimezone(ZoneInfo(firm.zone)):%-d %B %Y}"
    mapped = [
        f"{dt.date(2001, *(int(part) for part in stands_for.split('-'))):%-d %B} of the weather at {branch}"
        for branch, (_, stands_for) in firm.archives.items()
        if stands_for
    ]
    return f"Demonstration with invented firms: {today} stands for {', '.join(mapped)}."


def _members(firm: DemoFirm) -> Membership:
    """Office, manager, and a manager who belongs to both firms; returns the office."""
    roles = {"office": Role.OFFICE, "manager": Role.MANAGER}
    made = {}
    for word, role in roles.items():
        person = person_register(
            email=f"{word}@{firm.slug}.example", name=f"{word.title()} of {firm.name.split()[0]}", password=PASSWORD
        )
        made[word] = _join(person, role)
    _join(both_register(), Role.MANAGER)
    return made["office"]


def _join(person: Person, role: str) -> Membership:
    with acting_as(person.pk):
        member = member_add(person, role, by="demonstration")
    member.person = person
    return member


def _crew(crew: DemoCrew) -> Crew:
    shifts = [(day, crew.hours[0] * 60, crew.hours[1] * 60) for day in crew.days]
    return crew_make(
        name=crew.name,
        skills=list(crew.skills),
        people=crew.people,
        latitude=crew.place[0],
        longitude=crew.place[1],
        branch=crew.branch,
        shifts=shifts,
        by="demonstration",
    )


def _leads(firm: DemoFirm, crews: list[Crew]) -> None:
    """One crew lead for the water crew, one for the plaster crew, one for the first prep crew."""
    for skill in ("water", "prep", "plaster"):
        crew = next(crew for crew in crews if skill in crew.skills)
        person = person_register(
            email=f"{skill}@{firm.slug}.example",
            name=f"Lead of {crew.name}",
            password=PASSWORD,
            language="es" if skill == "plaster" else "en",
        )
        crew.lead = _join(person, Role.CREW_LEAD)
        crew.save(update_fields=["lead"])


def _open(contractor: Contractor, firm: DemoFirm, wanted: DemoJob, office: Membership, now: dt.datetime) -> Job:
    with clock.clock_at(now - dt.timedelta(days=wanted.opened_days_ago)):
        return _first_visit(contractor, firm, wanted, office, now)


def _first_visit(contractor: Contractor, firm: DemoFirm, wanted: DemoJob, office: Membership, now: dt.datetime) -> Job:
    job = job_open(
        contractor,
        by=office,
        pool_owner={
            "name": wanted.pool_owner,
            "email": f"{wanted.site.split(',')[0].lower().replace(' ', '')}@{firm.slug}.example",
            "phone": "555 0100",
            "language": wanted.language,
        },
        site={
            "label": wanted.site,
            "address": f"{wanted.site.split(', ')[1]} {len(wanted.site)}, {wanted.branch}",
            "latitude": wanted.place[0],
            "longitude": wanted.place[1],
            "branch": wanted.branch,
            "archive": archive_source(firm, wanted.branch, now),
            "hose_flow_l_min": 45.0,
            "hoses": 1,
            "hose_flow_measured": True,
            **wanted.site_extra,
        },
        pool=wanted.pool,
        finish=wanted.finish,
        earliest_date=(now + dt.timedelta(days=wanted.not_before_days)).astimezone(ZoneInfo(firm.zone)).date(),
    )
    wet = {name: value for name, value in wanted.answers.items() if name != NEEDS_EMPTY_POOL}
    survey_record(job.pool, answers=wet, by=office, at=clock.now())
    if wanted.until == "called_off":
        job_move(job, JobState.CALLED_OFF, by=office)
    elif wanted.until != "surveyed":
        scope_agree(job, by=office)
        if wanted.promise_in_days is not None:
            local_today = now.astimezone(ZoneInfo(job.site.zone)).date()
            date_promise(job, day=local_today + dt.timedelta(days=wanted.promise_in_days), by=office)
    return job


def archive_source(firm: DemoFirm, branch: str, now: dt.datetime) -> str:
    """The weather file of a branch and the days by which it is shifted, so that today is a day in season."""
    name, stands_for = firm.archives[branch]
    if stands_for is None:
        return name
    month, day = (int(part) for part in stands_for.split("-"))
    today = now.astimezone(ZoneInfo(firm.zone)).date()
    return f"{name}:{typical_year(name).shift_to(today, month, day)}"
