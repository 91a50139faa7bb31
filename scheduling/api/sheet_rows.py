"""How the sheets used on site are shown: what is printed there, as data. SI; instants with their offset."""

from __future__ import annotations

import math
from typing import Any, Final

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from jobs.api.rows import AdditionRow, WaterTestRow
from jobs.spoken import spoken
from jobs.timeline import start_up_cautions as water_care
from scheduling.api.rows import LogRow
from scheduling.selectors.fill_watch import FillSheet
from scheduling.selectors.today import NEVER_PAUSE

CAUTIONS: Final = (water_care.DRAIN_COVERS, water_care.HOSE, water_care.BARRIER)


class Known(serializers.FloatField):
    """A finite number, else null."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_null=True, **kwargs)

    def to_representation(self, value: Any) -> Any:
        return float(value) if math.isfinite(value) else None


class At(serializers.DateTimeField):
    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_null=True, **kwargs)


class AirRow(serializers.Serializer[Any]):
    """The air of a moment; wind 10 m above ground, drying as evaporation of the fresh surface [kg/m2/h]."""

    at = serializers.DateTimeField()
    temp_c = Known()
    humidity = Known()
    wind_m_s = Known()
    rain_chance = Known()
    rain_mm = Known()
    thunder_chance = Known()
    drying = Known()
    material_c = Known()
    surface_c = Known()


class HourRow(serializers.Serializer[Any]):
    air = AirRow()
    reached = serializers.CharField(help_text="The sternest line it reaches: watch, stop or none.")


class LineRow(serializers.Serializer[Any]):
    """A line of the firm; what to do is said where it is reached."""

    kind = serializers.CharField()
    words = serializers.CharField()
    reached = serializers.CharField()
    what_to_do = serializers.CharField()


class CellRow(serializers.Serializer[Any]):
    """One trowel pass over one section."""

    number = serializers.IntegerField()
    section = serializers.IntegerField()
    due = serializers.DateTimeField()
    until = serializers.DateTimeField()
    done_at = At()


class SectionRow(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    area_m2 = serializers.FloatField()
    mixed = serializers.DateTimeField()
    laid_at = At()
    final_set = serializers.DateTimeField()
    passes = CellRow(many=True)


class PassRow(serializers.Serializer[Any]):
    """One pass over the whole pool; `done` counts its sections."""

    number = serializers.IntegerField()
    due = serializers.DateTimeField()
    until = serializers.DateTimeField()
    done = serializers.IntegerField()


class PlasterDayRow(serializers.Serializer[Any]):
    """The plaster day; `why_not` says why there is no table."""

    job = serializers.UUIDField(source="job.pk")
    stint = serializers.UUIDField(source="stint.pk", default=None, allow_null=True)
    day = serializers.DateField(allow_null=True)
    why_not = serializers.CharField()
    is_today = serializers.BooleanField()
    begun = serializers.BooleanField()
    late = serializers.BooleanField()
    finishers = serializers.IntegerField()
    area_m2 = serializers.FloatField()
    starts = At()
    last_pass = At()
    dark = At()
    too_dark = serializers.BooleanField()
    ready = At(help_text="Hard enough for water.")
    best_start = At()
    next_section = serializers.IntegerField(allow_null=True)
    sections = SectionRow(many=True)
    passes = PassRow(many=True)
    due = CellRow(many=True)
    coming = CellRow(allow_null=True)
    now = AirRow(allow_null=True)
    hours = HourRow(many=True)
    lines = LineRow(many=True)
    readings = LogRow(many=True)


class LevelRow(serializers.Serializer[Any]):
    at = serializers.DateTimeField()
    below_mm = serializers.FloatField()
    share = serializers.FloatField()
    by = serializers.CharField()
    client_id = serializers.UUIDField()


class FullRow(serializers.Serializer[Any]):
    """When the pool is full: one chance in ten, even chance, nine in ten."""

    p10 = serializers.DateTimeField()
    p50 = serializers.DateTimeField()
    p90 = serializers.DateTimeField()


class FillRow(serializers.Serializer[Any]):
    """The fill as it stands; `why_not` says why nothing is computed."""

    job = serializers.UUIDField(source="job.pk")
    state = serializers.CharField()
    volume_m3 = serializers.FloatField()
    started = At()
    started_known = serializers.BooleanField()
    hoses = serializers.IntegerField()
    flow_l_min = Known()
    levels = LevelRow(many=True)
    share_now = Known()
    full = FullRow(allow_null=True)
    full_on = At()
    stopped_at = At()
    start_stint = serializers.UUIDField(source="start_stint.pk", default=None, allow_null=True)
    end_stint = serializers.UUIDField(source="end_stint.pk", default=None, allow_null=True)
    somebody_from = At()
    too_late = serializers.BooleanField()
    read_first = serializers.BooleanField()
    look_now = serializers.BooleanField()
    read_by = At()
    lost = Known()
    quiet_since = At()
    why_not = serializers.CharField()
    cautions = serializers.SerializerMethodField()

    def get_cautions(self, sheet: FillSheet) -> list[str]:
        return [spoken(CAUTIONS[0]), _(NEVER_PAUSE), *(spoken(text) for text in CAUTIONS[1:])]


class GateRow(serializers.Serializer[Any]):
    """Earliest date for one thing, and what it still waits for."""

    thing = serializers.CharField()
    words = serializers.CharField()
    not_before = serializers.DateField()
    allowed = serializers.BooleanField()
    waits_for = serializers.ListField(child=serializers.CharField())


class DayPlanRow(serializers.Serializer[Any]):
    """One day of the first month: what to do, what to leave alone, what to beware of."""

    day = serializers.IntegerField()
    someone_must_come = serializers.BooleanField()
    brushings = serializers.IntegerField()
    actions = serializers.ListField(child=serializers.CharField())
    leave_alone = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())


class StartUpRow(serializers.Serializer[Any]):
    """The first month of water; `number` is the day after the fill, null before the pool is full."""

    job = serializers.UUIDField(source="job.pk")
    method = serializers.CharField(source="job.start_up_method")
    number = serializers.IntegerField(allow_null=True)
    over = serializers.BooleanField()
    volume_m3 = serializers.FloatField()
    latest = WaterTestRow(allow_null=True)
    added_since = AdditionRow(allow_null=True)
    retest_at = At()
    fill_water = WaterTestRow(allow_null=True)
    gates = GateRow(many=True)
    plan = DayPlanRow(allow_null=True)
    brushed_today = serializers.IntegerField()
    dust_cleared_on = serializers.DateField(allow_null=True)
    next_visit = serializers.DateField(allow_null=True)
    visits = serializers.ListField(child=serializers.DateField())


class DayWeatherRow(serializers.Serializer[Any]):
    low_c = Known()
    high_c = Known()
    rain_chance = Known()
    thunder_chance = Known()
    heat_index_c = Known()


class ErrandRow(serializers.Serializer[Any]):
    """One stint, or one day of it: when to leave, what to bring, what to mind."""

    stint = serializers.UUIDField(source="stint.pk")
    job = serializers.UUIDField(source="stint.job_id")
    site_label = serializers.CharField(source="stint.job.site.label")
    stage = serializers.CharField(source="stint.stage")
    key = serializers.CharField(source="stint.key")
    state = serializers.CharField(source="stint.state")
    held = serializers.BooleanField(help_text="May not begin before the groundwater record is there.")
    leave = serializers.DateTimeField()
    starts = serializers.DateTimeField()
    ends = serializers.DateTimeField()
    travel_min = serializers.IntegerField()
    day_number = serializers.IntegerField()
    days = serializers.IntegerField()
    bring = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
    weather = DayWeatherRow(allow_null=True)
    geo = serializers.CharField()


class DayNoteRow(serializers.Serializer[Any]):
    day = serializers.DateField()
    absent = serializers.BooleanField()
    errands = ErrandRow(many=True)


class CrewNoteRow(serializers.Serializer[Any]):
    """A crew's days in order, and the fills that it watches."""

    crew = serializers.UUIDField(source="crew.pk")
    name = serializers.CharField(source="crew.name")
    days = DayNoteRow(many=True)
    filling = serializers.SerializerMethodField()

    @extend_schema_field(serializers.ListField(child=serializers.UUIDField()))
    def get_filling(self, note: Any) -> list[str]:
        return [str(sheet.job.pk) for sheet in note.filling]


class CrewNotesRow(serializers.Serializer[Any]):
    results = CrewNoteRow(many=True)
