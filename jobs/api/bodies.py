"""What may be sent of jobs, SI; the services check again what they know better."""

from __future__ import annotations

from rest_framework import serializers

from jobs.forms.pool import LONGEST_M
from jobs.models import Finish, Shape, StartUp
from jobs.physics.additions import NAMES
from shared.api.fields import AnyJson, Choice, Day, Email, Id, In, JsonObject, Moment, Number, Text, Whole, Yes

LANGUAGES = (("en", "English"), ("es", "Español"))
DEEPEST_M = 20.0


class Pair(serializers.ListField):
    """[distance, depth] or [x, y] in metres."""

    def __init__(self, **kwargs: object) -> None:
        super().__init__(child=Number(low=-1000.0, high=1000.0), min_length=2, max_length=2, **kwargs)  # type: ignore[arg-type]  # the base takes a dozen options


class Numbers(serializers.ListField):
    """A row of numbers."""

    def __init__(self, *, length: int, **kwargs: object) -> None:
        super().__init__(child=Number(low=0.0, high=1000.0), min_length=length, max_length=length, **kwargs)  # type: ignore[arg-type]  # as above


class PoolOwnerBody(In):
    name = Text(max_length=120)
    email = Email(required=False, allow_blank=True, max_length=254)
    phone = Text(required=False, allow_blank=True, max_length=40)
    language = Choice(choices=LANGUAGES, required=False)
    wants_notices = Yes(required=False)


class SiteBody(In):
    label = Text(max_length=120)  # type: ignore[assignment]  # a field, not the serializer's own label
    address = Text(required=False, allow_blank=True, max_length=240)
    branch = Text(required=False, max_length=40)
    latitude = Number(low=-90, high=90)
    longitude = Number(low=-180, high=180)
    zone = Text(required=False, max_length=64, help_text="IANA name; the firm's own where it is missing.")
    quiet_until_min = Whole(low=0, high=1440, required=False)
    quiet_from_min = Whole(low=0, high=1440, required=False)
    hose_flow_l_min = Number(low=2, high=500, required=False)
    hose_flow_measured = Yes(required=False)
    hoses = Whole(low=1, high=10, required=False)
    discharge_limit_l_min = Number(low=5, high=5000, required=False)
    high_groundwater = Yes(required=False)
    notes = Text(required=False, allow_blank=True, max_length=4000)


class PoolBody(In):
    EXAMPLE = {"shape": "rectangle", "length_m": 9.0, "width_m": 4.5, "profile": [[0.0, 1.0], [9.0, 2.0]]}

    shape = Choice(choices=Shape.choices)
    length_m = Number(low=0.5, high=LONGEST_M, required=False, allow_null=True)
    width_m = Number(low=0.5, high=LONGEST_M, required=False, allow_null=True)
    points_m = serializers.ListField(child=Pair(), required=False, max_length=500)
    profile = serializers.ListField(child=Pair(), max_length=100)
    axis_deg = Number(low=-360, high=360, required=False)
    tile_band_m = Number(low=0, high=1.5, required=False)
    cove_radius_m = Number(low=0, high=5, required=False)
    steps = serializers.ListField(child=Numbers(length=4), required=False, max_length=20)
    benches = serializers.ListField(child=Numbers(length=3), required=False, max_length=20)
    fittings_m2 = Number(low=0, high=500, required=False)
    built_year = Whole(low=1850, high=2200, required=False, allow_null=True)


class JobBody(In):
    """A first call: who, where, which pool, and what the pool owner said of it."""

    EXAMPLE = {
        "pool_owner": {"name": "Pool owner of Site 09"},
        "site": {"label": "Site 09", "latitude": 36.1, "longitude": -79.8},
        "pool": {"shape": "rectangle", "length_m": 9.0, "width_m": 4.5, "profile": [[0.0, 1.0], [9.0, 2.0]]},
        "answers": {"feel_grit": 70},
    }

    pool_owner = PoolOwnerBody()
    site = SiteBody()
    pool = PoolBody()
    finish = Choice(choices=Finish.choices, required=False)
    earliest_date = Day(required=False, allow_null=True)
    notes = Text(required=False, allow_blank=True, max_length=4000)
    answers = JsonObject(required=False, help_text="Observations of the survey by their names.")


class PoolOwnerPatch(PoolOwnerBody):
    name = Text(max_length=120, required=False)


class SitePatch(SiteBody):
    label = Text(max_length=120, required=False)
    latitude = Number(low=-90, high=90, required=False)
    longitude = Number(low=-180, high=180, required=False)


class WorkPatch(In):
    finish = Choice(choices=Finish.choices, required=False)
    start_up_method = Choice(choices=StartUp.choices, required=False)
    weight = Whole(low=1, high=9, required=False)
    earliest_date = Day(required=False, allow_null=True)
    notes = Text(required=False, allow_blank=True, max_length=4000)


class JobPatch(In):
    """Corrections; what is missing stays."""

    EXAMPLE = {"work": {"weight": 2}}

    pool_owner = PoolOwnerPatch(required=False)
    site = SitePatch(required=False)
    work = WorkPatch(required=False)


class SurveyBody(In):
    EXAMPLE = {
        "answers": {"feel_grit": 70, "tile_line": "flush", "wall_profile": "even", "chip_behaviour": "hard_grains"}
    }

    answers = JsonObject(help_text="Observations by their names; an empty object begins a survey.")
    dry = Yes(required=False, help_text="Made in the empty pool.")
    taken_at = Moment(required=False)


class ObservationBody(In):
    EXAMPLE = {"value": 60}

    value = AnyJson(help_text="null takes the answer back.")


class ScopeBody(In):
    EXAMPLE = {"repairs_h": 4.0}

    kind = Text(required=False, allow_blank=True, max_length=24, help_text="Empty: the proposed one.")
    why = Text(required=False, allow_blank=True, max_length=240)
    repairs_h = Number(low=0, high=500, required=False)


class WaterTestBody(In):
    EXAMPLE = {
        "client_id": "0195f3b2-0000-7000-8000-00000000a001",
        "temp_c": 20,
        "ph": 7.6,
        "calcium_hardness_mg_l": 200,
        "total_alkalinity_mg_l": 90,
    }

    client_id = Id(help_text="Made by the sender; each is taken once.")
    at = Moment(required=False)
    of = Choice(choices=(("pool", "pool"), ("hose", "hose")), required=False)
    temp_c = Number(low=1, high=40)
    ph = Number(low=0, high=14)
    calcium_hardness_mg_l = Number(low=0, high=100_000)
    total_alkalinity_mg_l = Number(low=0, high=100_000)
    tds_mg_l = Number(low=0, high=100_000, required=False, allow_null=True)
    cyanuric_acid_mg_l = Number(low=0, high=10_000, required=False)
    free_chlorine_mg_l = Number(low=0, high=100, required=False, allow_null=True)


class AdditionBody(In):
    EXAMPLE = {"client_id": "0195f3b2-0000-7000-8000-00000000a002", "substance": "NaHCO3", "amount": 1.5}

    client_id = Id(help_text="Made by the sender; each is taken once.")
    at = Moment(required=False)
    substance = Choice(choices=[(name, words) for name, words in NAMES.items()])
    amount = Number(low=0, high=2000, help_text="Litres of hydrochloric acid, kilograms of anything else.")


class MethodBody(In):
    EXAMPLE = {"method": "traditional"}

    method = Choice(choices=[choice for choice in StartUp.choices if choice[0] != StartUp.ACID])
