"""What may be sent of crews, stints, plans and the firm."""

from __future__ import annotations

from rest_framework import serializers

from jobs.models import LogKind
from jobs.timeline.limits import LIMIT_CATALOGUE
from jobs.timeline.rates import RATE_CATALOGUE
from scheduling.models import Skill
from scheduling.models.hook import HookEvent
from scheduling.selectors.alarms import ALL_DAY, TIMED
from scheduling.services.links import ALLOWED
from shared.api.fields import Choice, Day, Id, In, JsonObject, Moment, Number, Text, Whole, Yes
from shared.models.firm import Units

MARKED = (LogKind.BEGUN, LogKind.DONE)  # marks of a stint, which have an address of their own


class ShiftBody(In):
    weekday = Whole(low=0, high=6, help_text="0 is Monday.")
    from_min = Whole(low=0, high=1440)
    to_min = Whole(low=0, high=1440)


class CrewBody(In):
    EXAMPLE = {
        "name": "Second prep",
        "skills": ["prep"],
        "people": 3,
        "latitude": 36.0,
        "longitude": -79.8,
        "shifts": [{"weekday": 0, "from_min": 420, "to_min": 960}],
    }

    name = Text(max_length=80)
    skills = serializers.ListField(child=Choice(choices=Skill.choices), min_length=1, max_length=3)
    people = Whole(low=1, high=30)
    latitude = Number(low=-90, high=90)
    longitude = Number(low=-180, high=180)
    branch = Text(required=False, max_length=40)
    lead = Id(required=False, allow_null=True, help_text="A member of the firm.")
    active = Yes(required=False)
    shifts = ShiftBody(many=True)


class AbsenceBody(In):
    EXAMPLE = {"first_day": "2027-07-01", "last_day": "2027-07-05", "reason": "holiday"}

    first_day = Day()
    last_day = Day()
    reason = Text(required=False, allow_blank=True, max_length=120)


class MarkBody(In):
    state = Choice(choices=(("begun", "begun"), ("done", "done"), ("undone", "not done")))
    at = Moment(required=False)
    hours = Number(low=0, high=720, required=False, allow_null=True)
    why = Text(required=False, allow_blank=True, max_length=240)


class KeepBody(In):
    EXAMPLE = {"kept": True}

    kept = Yes()


class LogBody(In):
    EXAMPLE = {"client_id": "0195f3b2-0000-7000-8000-00000000a003", "kind": "note", "data": {"text": "Gate code 4711"}}

    client_id = Id(help_text="Made by the sender; each is taken once.")
    kind = Choice(choices=[choice for choice in LogKind.choices if choice[0] not in MARKED])
    at = Moment(required=False)
    stint_id = Id(required=False, allow_null=True)
    data = JsonObject(required=False)  # type: ignore[assignment]  # a field, not the serializer's own data


class DoneBody(In):
    client_id = Id(help_text="Made by the sender; each is taken once.")
    at = Moment(required=False)
    hours = Number(low=0, high=720, required=False, allow_null=True)


class FullBody(In):
    client_id = Id(help_text="Made by the sender; each is taken once.")
    at = Moment(required=False)


class GroundwaterBody(In):
    EXAMPLE = {"groundwater_m": 2.4, "relief_valve": "moves freely", "rain_mm": 3.0}

    groundwater_m = Number(low=0, high=30, required=False)
    opinion_by = Text(required=False, max_length=120)
    opinion_on = Day(required=False)
    relief_valve = Text(max_length=120)
    rain_mm = Number(low=0, high=1000)


class PromiseBody(In):
    EXAMPLE = {"day": "2027-08-20"}

    day = Day()


class CallOffBody(In):
    why = Text(max_length=240)


class RunBody(In):
    EXAMPLE = {"branch": "main", "why": "a crew is ill", "seconds": 20}

    branch = Text(required=False, max_length=40)
    why = Text(required=False, allow_blank=True, max_length=160)
    seconds = Whole(low=2, high=300, required=False)


class MoveBody(In):
    job = Id()
    key = Text(max_length=24, help_text="The stint's key: prep, plaster, startup_7 ...")


class IssueSomeBody(In):
    moves = MoveBody(many=True)


class HookBody(In):
    EXAMPLE = {"url": "https://other-system.example/told", "events": ["plan.issued"]}

    url = Text(max_length=400)
    events = serializers.ListField(child=Choice(choices=HookEvent.choices), min_length=1, max_length=5)


class LinkBody(In):
    EXAMPLE = {"kind": "feed", "purpose": "firm"}

    kind = Choice(choices=sorted({(str(kind), str(kind)) for kind, _ in ALLOWED}))
    purpose = Choice(choices=sorted({(purpose, purpose) for _, purpose in ALLOWED}))
    subject_id = Id(required=False, allow_null=True, help_text="The job or crew; none for the firm.")


class AlarmBody(In):
    EXAMPLE = {"code": "day"}

    code = Choice(choices=sorted({(code, code) for code in (*ALL_DAY, *TIMED)}))


class WeightsBody(In):
    """What the planner weighs; a late day of 1000 counts as much as ten days of an earlier fill elsewhere."""

    late_day = Whole(low=100, high=10_000, required=False)
    unplanned = Whole(low=200, high=5_000_000, required=False)
    travel_km = Whole(low=1, high=10, required=False)


class FirmPatch(In):
    EXAMPLE = {"pumps": 3}

    units = Choice(choices=Units.choices, required=False)
    contact_name = Text(required=False, allow_blank=True, max_length=120)
    phone = Text(required=False, allow_blank=True, max_length=40)
    pumps = Whole(low=0, high=50, required=False)
    rigs = Whole(low=0, high=50, required=False)
    weights = WeightsBody(required=False)


class LimitsBody(In):
    """The firm's own limits by name, SI; a missing one is the default."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        return {
            name: Number(low=limit.low, high=limit.high, required=False, help_text=f"{limit.words} [{limit.unit}]")
            for name, limit in LIMIT_CATALOGUE.items()
        }


class RatesBody(In):
    """The firm's own rates by name, SI; a missing one is the default."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        return {
            name: Number(low=rate.low, high=rate.high, required=False, help_text=f"{rate.label} [{rate.unit}]")
            for name, rate in RATE_CATALOGUE.items()
        }
