"""The water-loss test: how far the level fell, and how far in a bucket on a step beside it."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.condition.water_loss import WaterLoss, open_water_evaporation_mm_d, water_loss
from jobs.forms.measures import MeasureField, MeasuresForm, NumberField


class WaterLossForm(MeasuresForm):
    """Readings of one test; `loss` is what follows from them."""

    days = NumberField(low=1, high=30, unit=_l("days"), label=_l("Time between the readings"))
    drop_mm = MeasureField("millimetres", low=-200, high=1000, label=_l("Fall of the level in the pool"))
    bucket_drop_mm = MeasureField(
        "millimetres", low=-200, high=600, required=False, label=_l("Fall of the level in the bucket")
    )
    temp_air_c = MeasureField("temperature", low=-40, high=60, required=False, label=_l("Mean air temperature"))
    humidity_pct = NumberField(low=0, high=100, unit="%", decimals=0, required=False, label=_l("Mean humidity"))
    wind_m_s = MeasureField("wind", low=0, high=40, required=False, label=_l("Mean wind near the water"))
    rain_mm = MeasureField("rain", low=0, high=500, decimals=2, required=False, label=_l("Rain in that time"))
    other_use_mm = MeasureField(
        "millimetres", low=-1000, high=1000, required=False, label=_l("Other known use, as a fall of the level"),
        help_text=_l("Backwashing, splashing; water that was added counts less than 0."),
    )  # fmt: skip

    WEATHER = ("temp_air_c", "humidity_pct", "wind_m_s")

    def clean(self) -> dict[str, Any]:
        kept = super().clean()
        if kept.get("bucket_drop_mm") is None and "bucket_drop_mm" not in self.errors:
            missing = [name for name in self.WEATHER if kept.get(name) is None and name not in self.errors]
            if missing:
                self.add_error(
                    "bucket_drop_mm",
                    _("Give the fall in the bucket, or the mean air temperature, humidity and wind instead."),
                )
        return kept

    def loss(self, water_surface_m2: float) -> WaterLoss:
        """The loss beyond evaporation; without a bucket the evaporation is computed from the weather."""
        kept = self.cleaned_data
        bucket, evaporation = kept["bucket_drop_mm"], None
        if bucket is None:
            daily = open_water_evaporation_mm_d(kept["temp_air_c"], kept["humidity_pct"] / 100.0, kept["wind_m_s"])
            evaporation = float(daily) * kept["days"]
        return water_loss(
            drop_mm=kept["drop_mm"],
            days=kept["days"],
            water_surface_m2=water_surface_m2,
            evaporation_mm=evaporation,
            bucket_drop_mm=bucket,
            rain_mm=kept["rain_mm"] or 0.0,
            other_use_mm=kept["other_use_mm"] or 0.0,
        )
