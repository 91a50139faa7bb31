"""Water tests and additions: kept once each, with what was advised and what was to be expected."""

from __future__ import annotations

import datetime as dt
import math
import uuid
from dataclasses import dataclass
from typing import Any, Final, cast

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from jobs.models import Addition, Job, LogKind, StartUp, WaterTest
from jobs.physics.additions import NAMES, Chemical, PoolWater, Prediction, predict_addition
from jobs.physics.constants import CACO3_EQUIVALENT_MG, MOLAR_G
from jobs.selectors.pools import pool_figures
from jobs.selectors.start_up_figures import start_up_settings
from jobs.selectors.water import (
    HOSE,
    POOL,
    additions_of,
    believed_before,
    doubted_since,
    method_of,
    start_up_day,
    test_of,
)
from jobs.services.site_logs import log_take
from jobs.timeline import water_tests
from jobs.timeline.start_up import Advice, MethodAdvice, advise_method, what_next
from jobs.timeline.start_up_gates import THING_WORDS, Thing, first_days
from jobs.timeline.start_up_settings import StartUpSettings
from jobs.timeline.water_tests import LoggedAddition, expected_water
from shared import clock
from shared.models import Membership
from shared.services.audit import audit_note

FUTURE: Final = dt.timedelta(minutes=10)  # a phone's clock may run ahead by so much
MOST: Final = 2000.0  # kg or L of one addition
TIME_AHEAD: Final = gettext_noop("The time lies in the future; check the clock of the phone.")
_EARLY: Final[dict[str, Thing]] = {"CaCl2": "calcium", "CaCl2_2H2O": "calcium", "CYA": "stabiliser", "NaCl": "salt"}


@dataclass(frozen=True)
class Readings:
    """One test as a kit or meter reads it: [C], [-], [mg/L as CaCO3] twice, [mg/L] three times.

    tds_mg_l None: not measured; the last reading stands in, or what calcium and alkalinity alone weigh.
    """

    temp_c: float
    ph: float
    calcium_hardness_mg_l: float
    total_alkalinity_mg_l: float
    tds_mg_l: float | None = None
    cyanuric_acid_mg_l: float = 0.0
    free_chlorine_mg_l: float | None = None


def water_test_log(
    job: Job,
    readings: Readings,
    *,
    by: Membership | str,
    at: dt.datetime | None = None,
    of: str = POOL,
    client_id: uuid.UUID | None = None,
) -> tuple[WaterTest, bool]:
    """Keep a test with its advice; (test, True) when it is new, (the kept one, False) when its id was taken before.

    A test that cannot be believed is kept too, with the reason: nothing is advised from it and no later test is
    compared with it. *of* says whether the water came from the "pool" or from the "hose".
    """
    client_id = client_id or uuid.uuid4()
    known = WaterTest.objects.filter(client_id=client_id).first()
    if known is not None:
        return known, False
    at = _when(at)
    previous = believed_before(job, at)
    tds, assumed = _tds(readings, previous)
    row = WaterTest(
        client_id=client_id,
        job=job,
        at=at,
        by=_name(by),
        temp_c=readings.temp_c,
        ph=readings.ph,
        calcium_hardness_mg_l=readings.calcium_hardness_mg_l,
        total_alkalinity_mg_l=readings.total_alkalinity_mg_l,
        tds_mg_l=tds,
        cyanuric_acid_mg_l=readings.cyanuric_acid_mg_l,
        free_chlorine_mg_l=readings.free_chlorine_mg_l,
    )
    row.advice = {"of": of, "tds_assumed": assumed, **(_of_hose(row) if of == HOSE else _of_pool(job, row, previous))}
    if row.advice["action"] == "repeat":
        row.doubted = " ".join(row.advice["reasons"])[:240]
    else:
        row.index = row.advice["index"]
    return cast("tuple[WaterTest, bool]", _kept_once(row))


def _of_pool(job: Job, row: WaterTest, previous: WaterTest | None) -> dict[str, Any]:
    doubted = doubted_since(job, row.at, previous)
    advice = what_next(
        test_of(row),
        day=start_up_day(job, row.at),
        method=method_of(job),
        volume_m3=pool_figures(job.pool).volume_m3,
        previous=None if previous is None else test_of(previous),
        additions=additions_of(job),
        settings=start_up_settings(),
        doubted=None if doubted is None else test_of(doubted),
    )
    return {"day": start_up_day(job, row.at), **_advice_json(advice)}


def _of_hose(row: WaterTest) -> dict[str, Any]:
    doubts = water_tests.doubts(test_of(row))
    if doubts:
        return _advice_json(Advice("repeat", "Repeat the test before adding anything.", doubts, None, ""))
    water = test_of(row).water
    try:
        index = water.saturation_index
    except ValueError:
        index = None
    return {"action": "method", "index": index, "method": _method_json(advise_method(water, start_up_settings()))}


def addition_log(
    job: Job,
    *,
    substance: str,
    amount: float,
    by: Membership | str,
    at: dt.datetime | None = None,
    client_id: uuid.UUID | None = None,
) -> tuple[Addition, bool]:
    """Keep what was added (kg; litres of hydrochloric acid) with what the water should read after it.

    Raises
    ------
    ValidationError
        For an unknown substance, an amount outside 0 to 2000, or a time in the future.
    """
    client_id = client_id or uuid.uuid4()
    known = Addition.objects.filter(client_id=client_id).first()
    if known is not None:
        return known, False
    if substance not in NAMES:
        raise ValidationError(
            {
                "substance": _("“%(value)s” is not a substance known here; known are %(known)s.")
                % {"value": substance, "known": ", ".join(NAMES.values())}
            }
        )
    liquid = substance == "HCl"
    if not (math.isfinite(amount) and 0 < amount <= MOST):
        raise ValidationError(
            {
                "amount": _("Amount added is %(value)g %(unit)s; allowed is more than 0 to %(most)g %(unit)s.")
                % {"value": amount, "unit": "L" if liquid else "kg", "most": MOST}
            }
        )
    at = _when(at)
    row = Addition(
        client_id=client_id,
        job=job,
        at=at,
        by=_name(by),
        substance=substance,
        amount_kg=None if liquid else amount,
        amount_l=amount if liquid else None,
        predicted=_predicted(job, cast(Chemical, substance), amount, at),
    )
    return cast("tuple[Addition, bool]", _kept_once(row))


def _predicted(job: Job, chemical: Chemical, amount: float, at: dt.datetime) -> dict[str, Any]:
    """What the water should read afterwards, and what speaks against this addition; facts are kept all the same."""
    earlier = [one for one in additions_of(job) if one.at <= at]
    day = start_up_day(job, at)
    settings = start_up_settings()
    found: dict[str, Any] = {"day": day, "notices": _notices(job, chemical, at, day, earlier, settings)}
    tested = believed_before(job, at)
    if tested is None:
        return found
    volume = pool_figures(job.pool).volume_m3
    before = expected_water(test_of(tested).water, [one for one in earlier if one.at >= tested.at], volume)
    try:
        prediction = predict_addition(
            chemical,
            amount,
            volume,
            before,
            purity=settings.product_purity(chemical),
            acid_mass_fraction=settings.acid_mass_fraction,
        )
        found["after"] = _water_json(prediction)
    except ValueError:
        found["notices"].append("What the water reads after this cannot be computed; test it before anything else.")
        return found
    if before.ph - prediction.after.ph > settings.acid_ph_step + 0.05:
        found["notices"].append(
            f"This takes pH from {before.ph:.1f} to {prediction.after.ph:.1f}; one addition should take off "
            f"{settings.acid_ph_step:g} at most. Brush, keep the filter running and test again."
        )
    return found


def _notices(
    job: Job, chemical: Chemical, at: dt.datetime, day: int, earlier: list[LoggedAddition], settings: StartUpSettings
) -> list[str]:
    said = []
    last = max((one.at for one in earlier), default=None)
    if last is not None and at - last < dt.timedelta(hours=settings.retest_h):
        said.append(f"One product at a time: the last addition needs {settings.retest_h:g} h of circulation first.")
    thing = _EARLY.get(chemical)
    if thing is not None:
        first = first_days(job.finish, settings)[thing]
        if day < first:
            said.append(f"No {THING_WORDS[thing]} before day {first}.")
    return said


def start_up_method_set(job: Job, method: str, *, by: Membership) -> Job:
    """Choose the start-up method that the fill water speaks for; the acid one is never chosen on a phone."""
    if method not in (StartUp.TRADITIONAL, StartUp.HIGH_ALKALINITY):
        raise ValidationError(
            {"method": _("Start-up method is “%(value)s”; allowed here are traditional and high alkalinity.")
             % {"value": method}}
        )  # fmt: skip
    return _method_change(job, method, by)


@transaction.atomic
def acid_sign(
    job: Job,
    *,
    signed_by: str,
    signed_on: dt.date,
    instruction: str,
    by: Membership,
    client_id: uuid.UUID | None = None,
) -> Job:
    """Take the contested acid start-up on with a name, a date and the written instruction of the finish's maker.

    The program computes nothing for it and recommends it never; it keeps the days, the cautions and this signature.
    """
    missing = {"signed_by": signed_by.strip(), "instruction": instruction.strip()}
    if not all(missing.values()):
        raise ValidationError({name: _("This is needed here.") for name, text in missing.items() if not text})
    today = clock.now().astimezone(job.site.tz).date()
    if signed_on > today:
        raise ValidationError(
            {"signed_on": _("It is signed on %(day)s; allowed is today or earlier.") % {"day": signed_on.isoformat()}}
        )
    signature = {"signed_by": missing["signed_by"], "signed_on": signed_on.isoformat()}
    signature["instruction"] = missing["instruction"]
    text = _("Acid start-up signed by %(signed_by)s on %(signed_on)s: %(instruction)s") % signature
    log_take(job, kind=LogKind.NOTE, by=by, data={"text": text, "acid": signature}, client_id=client_id)
    return _method_change(job, StartUp.ACID, by, signature)


def _method_change(job: Job, method: str, by: Membership, more: dict[str, Any] | None = None) -> Job:
    if job.start_up_method == method:
        return job
    before = job.start_up_method
    job.start_up_method = method
    job.version = models.F("version") + 1
    job.save(update_fields=["start_up_method", "version"])
    job.refresh_from_db(fields=["version"])
    audit_note(by, "start-up method", job, before={"method": before}, after={"method": method, **(more or {})})
    return job


def _tds(readings: Readings, previous: WaterTest | None) -> tuple[float, bool]:
    if readings.tds_mg_l is not None:
        return readings.tds_mg_l, False
    calcium, alkalinity = readings.calcium_hardness_mg_l, readings.total_alkalinity_mg_l
    ions = calcium / MOLAR_G["CaCO3"] * MOLAR_G["CaCl2"] + alkalinity / CACO3_EQUIVALENT_MG * MOLAR_G["NaHCO3"]
    return max(float(math.ceil(ions)), previous.tds_mg_l if previous else 0.0), True


def _when(at: dt.datetime | None) -> dt.datetime:
    if at is not None and at > clock.now() + FUTURE:
        raise ValidationError({"at": _(TIME_AHEAD)})
    return at or clock.now()


def _name(by: Membership | str) -> str:
    return by if isinstance(by, str) else by.person.name


def _kept_once(row: Any) -> tuple[Any, bool]:
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:  # sent twice at once
        return type(row).objects.get(client_id=row.client_id), False
    return row, True


def _advice_json(advice: Advice) -> dict[str, Any]:
    return {
        "action": advice.action,
        "sentence": advice.sentence,
        "reasons": list(advice.reasons),
        "index": advice.index,
        "index_words": advice.index_words,
        "chemical": advice.chemical,
        "amount": None if advice.amount is None else advice.amount.value,
        "after": None if advice.prediction is None else _water_json(advice.prediction),
        "retest_at": None if advice.retest_at is None else advice.retest_at.isoformat(),
        "cautions": list(advice.cautions),
        "leave_alone": list(advice.leave_alone),
        "remarks": list(advice.remarks),
    }


def _water_json(prediction: Prediction) -> dict[str, Any]:
    after: PoolWater = prediction.after
    try:
        index = after.saturation_index
    except ValueError:
        index = None
    return {
        "ph": round(after.ph, 2),
        "total_alkalinity_mg_l": round(after.total_alkalinity_mg_l),
        "calcium_hardness_mg_l": round(after.calcium_hardness_mg_l),
        "cyanuric_acid_mg_l": round(after.cyanuric_acid_mg_l),
        "index": index,
    }


def _method_json(advice: MethodAdvice) -> dict[str, Any]:
    return {
        "recommended": advice.recommended,
        "reasons": list(advice.reasons),
        "never": list(advice.never),
        "lime_ph": advice.lime_ph,
    }
