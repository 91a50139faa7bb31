"""The cast of every test: a firm of ours, a neighbour's firm, and the people in them.

`own` and `other` are built through the services. Nobody of `other` may ever see a row of `own`.
"""

from __future__ import annotations

import datetime as dt
import io
import uuid
from dataclasses import dataclass, field
from typing import Any

from django.test import Client
from PIL import Image

from jobs.models import (
    Addition,
    BandPoint,
    ExpectedDates,
    Job,
    LearningReset,
    LogKind,
    Outcome,
    WaterTest,
    WeatherFile,
)
from jobs.services.first_call import job_open
from jobs.services.photos import photo_add
from jobs.services.scopes import scope_agree
from jobs.services.site_logs import log_take
from jobs.services.surveys import survey_record
from scheduling.models import (
    Crew,
    Hook,
    HookCall,
    Mail,
    Notice,
    NoticeText,
    NoticeWatch,
    PhoneEntry,
    Plan,
    PlanRun,
    Receiver,
    ReceiverKind,
)
from scheduling.selectors.problem import planning_problem
from scheduling.services.answers import answer_in_time
from scheduling.services.crews import absence_note, crew_make
from scheduling.services.plans import plan_issue, plan_propose
from scheduling.slots import DAY_SLOTS
from scheduling.solver.greedy import greedy
from scheduling.solver.objective import terms
from scheduling.solver.problem import Problem
from shared import clock
from shared.models import ApiAnswer, Contractor, Membership, Person, Role
from shared.services.members import contractor_open, member_add, person_register
from shared.tenancy.context import acting_as, acting_for

PASSWORD = "a quiet basin in april"
ONE_COAT = {"feel_grit": 70, "tile_line": "flush", "wall_profile": "even", "chip_behaviour": "hard_grains"}
RECTANGLE = {
    "shape": "rectangle",
    "length_m": 9.0,
    "width_m": 4.5,
    "profile": [[0.0, 1.0], [4.0, 1.3], [9.0, 2.0]],
}


@dataclass
class FirmCast:
    """One firm: its members by word, its crews by skill."""

    contractor: Contractor
    members: dict[str, Membership]
    crews: dict[str, Crew] = field(default_factory=dict)

    @property
    def office(self) -> Membership:
        return self.members["office"]

    @property
    def manager(self) -> Membership:
        return self.members["manager"]

    @property
    def crew_lead(self) -> Membership:
        return self.members["crew_lead"]


@dataclass
class Cast:
    """Our firm, the neighbour's firm, and a person who belongs to both."""

    own: FirmCast
    other: FirmCast
    both: Person


def make_cast() -> Cast:
    own, other = make_firm("own", "Own Basin Works", "us"), make_firm("other", "Other Interiors", "metric")
    both = person_register(email="both@cast.example", name="Both of them", password=PASSWORD)
    for firm in (own, other):
        firm.members["both"] = join(firm.contractor, both, Role.MANAGER)
    return Cast(own, other, both)


def make_firm(slug: str, name: str, units: str) -> FirmCast:
    contractor = contractor_open(slug=slug, name=name, zone="America/New_York", units=units)
    members = {}
    for role in Role.values:
        person = person_register(email=f"{role}@{slug}.example", name=f"{role} of {slug}", password=PASSWORD)
        members[role] = join(contractor, person, role)
    firm = FirmCast(contractor, members)
    with acting_for(contractor.pk):
        week = [(day, 6 * 60, 20 * 60) for day in range(7)]
        for skill, people in (("water", 2), ("prep", 4), ("plaster", 5)):
            firm.crews[skill] = crew_make(
                name=f"{skill} crew of {slug}",
                skills=[skill],
                people=people,
                latitude=36.07,
                longitude=-79.79,
                shifts=week,
                by="cast",
            )
        firm.crews["water"].lead = members["crew_lead"]
        firm.crews["water"].save(update_fields=["lead"])
    return firm


def join(contractor: Contractor, person: Person, role: str) -> Membership:
    with acting_for(contractor.pk), acting_as(person.pk):
        member = member_add(person, role, by="cast")
    member.person = person
    return member


def open_job(firm: FirmCast, *, label: str = "Site 01", agreed: bool = True, **changes: Any) -> Job:
    """A surveyed job of the firm, its scope agreed unless told otherwise. Needs no active contractor."""
    with acting_for(firm.contractor.pk):
        job = job_open(
            firm.contractor,
            by=firm.office,
            pool_owner={"name": f"Pool owner of {label}", "email": "pool.owner@cast.example"},
            site={
                "label": label,
                "address": f"{label}, Alder Court 4",
                "latitude": 36.1,
                "longitude": -79.8,
                "archive": "greensboro_nc",
                "hose_flow_l_min": 45.0,
                "hose_flow_measured": True,
                **changes.pop("site", {}),
            },
            pool={**RECTANGLE, **changes.pop("pool", {})},
            **changes,
        )
        survey_record(job.pool, answers=ONE_COAT, by=firm.office, at=clock.now())
        if agreed:
            scope_agree(job, by=firm.office)
    return job


def expect(job: Job, firm: FirmCast, *, days: int = 50, **changes: Any) -> ExpectedDates:
    """Plain expected dates: every day allows every stage. The weather itself has its own tests."""
    with acting_for(firm.contractor.pk):
        first = clock.now().astimezone(job.site.tz).date()
        lengths = {
            "drain_setup_len": 3,
            "pump_len": 14,
            "drain_pull_len": 2,
            "prep_work": 60,
            "prep_people": 4,
            "bond_len": 4,
            "fill_start_len": 2,
            "fill_len": 44,
            "fill_end_len": 6,
        }
        starts = [(day, day * DAY_SLOTS + 16, day * DAY_SLOTS + 20) for day in range(days)]
        rows: dict[str, Any] = {
            "bond_days": [[*start, 40] for start in starts],
            "plaster_days": [[*start, 16, 12] for start in starts],
            "fill_days": [[day, day * DAY_SLOTS, day * DAY_SLOTS + 47] for day in range(days)],
            "prep_blocked": [],
            "shares": {str(day): 1.0 for day in range(days)},
            "closed": [],
            "lengths": lengths,
            "fill_hours": {"early": 22.0, "even": 23.0, "late": 24.2},
        }
        day = first + dt.timedelta(days=9)
        band = {
            "p10": day.isoformat(),
            "p50": (day + dt.timedelta(days=1)).isoformat(),
            "p80": (day + dt.timedelta(days=3)).isoformat(),
            "p90": (day + dt.timedelta(days=5)).isoformat(),
            "chance_by": [[(day + dt.timedelta(days=n)).isoformat(), min(1.0, 0.3 + n * 0.14)] for n in range(6)],
            "later": 0.0,
            "source": "forecast and typical year",
            "lost_days": [["plaster", "cold", 1.2], ["bond", "rain", 0.4]],
        }
        verdicts = [
            {
                "day": (first + dt.timedelta(days=n)).isoformat(),
                "word": ("can plaster", "doubtful", "cannot plaster")[n % 3],
                "why": "" if n % 3 == 0 else "air 2.0 C, must stay at or above 4.4 C",
                "share": (1.0, 0.6, 0.0)[n % 3],
                "low_c": 3.0,
                "high_c": 15.0,
                "rain": 0.2,
                "evaporation": 0.4,
                "stop": 1.0,
            }
            for n in range(14)
        ]
        return ExpectedDates.objects.update_or_create(
            job=job,
            defaults={
                "fingerprint": f"cast {job.pk}",
                "computed_at": clock.now(),
                "weather_issued_at": clock.now(),
                "weather_source": "archive:greensboro_nc",
                "first_day": first,
                "rows": {**rows, **changes},
                "verdicts": verdicts,
                "band": band,
                "seed": 1,
            },
        )[0]


def propose(firm: FirmCast) -> Plan:
    """A proposal by the plain greedy planner for whatever has expected dates."""
    with acting_for(firm.contractor.pk):
        found = planning_problem(firm.contractor, clock.now())
        found, answer = answer_in_time(found, lambda document: greedy(Problem.from_json(document)))
        cost = terms(Problem.from_json(found.document), answer).objective
        return plan_propose(firm.contractor, found, answer, greedy=cost, why="cast")


def issue(firm: FirmCast) -> Plan:
    """Propose and issue."""
    plan = propose(firm)
    with acting_for(firm.contractor.pk):
        return plan_issue(firm.contractor, plan, by=firm.office)


def a_picture(width: int = 96, height: int = 72, kind: str = "JPEG", **saved: Any) -> bytes:
    """A small picture with a gradient, so that no two sizes are alike."""
    drawn = Image.linear_gradient("L").resize((width, height)).convert("RGB")
    written = io.BytesIO()
    drawn.save(written, kind, **saved)
    return written.getvalue()


def client_of(member: Membership) -> Client:
    """A browser in which this member is logged in, with the member's firm chosen."""
    client = Client()
    client.force_login(member.person, backend="shared.backend.EmailBackend")
    session = client.session
    session["contractor"] = str(member.contractor_id)
    session.save()
    return client


def a_bit_of_everything(firm: FirmCast) -> Job:
    """One planned job with at least one row in every tenant table."""
    job = open_job(firm)
    expect(job, firm)
    issue(firm)
    with acting_for(firm.contractor.pk):
        now, today = clock.now(), clock.now().date()
        BandPoint.objects.create(job=job, at=now)
        log_take(job, kind=LogKind.NOTE, by="cast", data={"text": "a note"})
        readings = {"temp_c": 20, "ph": 7.6, "calcium_hardness_mg_l": 200, "total_alkalinity_mg_l": 90, "tds_mg_l": 500}
        WaterTest.objects.create(job=job, at=now, by="cast", **readings)
        Addition.objects.create(job=job, at=now, by="cast", substance="HCl", amount_l=1.0)
        absence_note(firm.crews["prep"], first_day=today, last_day=today, reason="cast", by="cast")
        PlanRun.objects.create(asked_by="cast", state="done")
        Outcome.objects.create(job=job, stint_id=uuid.uuid4(), what="prep", at=now, expected_h=9.0, took_h=10.0)
        LearningReset.objects.create(what="prep", at=now, by="cast")
        told = {
            "person_id": firm.crew_lead.person_id,
            "by": "cast",
            "said": "Brushed",
            "address": "/site/",
            "digest": "0" * 64,
        }
        PhoneEntry.objects.create(client_id=uuid.uuid4(), job=job, at=now, taken_at=now, **told)
        ApiAnswer.objects.create(member=firm.office, key="cast", fingerprint="cast", created_at=now)
        photo_add(job.pool, sent=a_picture(), by=firm.office, at=now, words="the deep end")
        hours = {"starts": now, "count": 1, "arrays": b"", "fingerprint": "0" * 64, "kept_at": now, "kept_by": "cast"}
        WeatherFile.objects.create(name=f"Hours of {firm.contractor.slug}", latitude=36.1, longitude=-79.8, **hours)
        a_notice_and_a_hook(job, now)
    return job


def a_notice_and_a_hook(job: Job, now: dt.datetime) -> tuple[Mail, Hook]:
    """One row in each table of notices and hooks. Needs an active contractor."""
    receiver = Receiver.objects.get_or_create(kind=ReceiverKind.POOL_OWNER, subject_id=job.pool_owner_id)[0]
    written = {"subject": "A date has moved", "text": "It moved.", "html": "<p>It moved.</p>", "message_id": "<cast>"}
    mail = Mail.objects.create(receiver=receiver, kind="moved", to="pool.owner@cast.example", state="sent", **written)
    later = {"due_at": now, "void_after": now, "state": "mailed", "mail": mail, "cause": "cast"}
    Notice.objects.create(kind="moved", subject_id=job.pk, job=job, receiver=receiver, **later)
    NoticeText.objects.create(kind="moved", language="en", subject="Moved: {site}", body="{lines}")
    NoticeWatch.objects.get_or_create(defaults={"looked_at": now})
    hook = Hook.objects.create(url="https://hooks.cast.example/in", events=["plan.issued"], made_by="cast")
    HookCall.objects.create(hook=hook, event="plan.issued", cause="cast", body="{}", state="sent")
    return mail, hook
