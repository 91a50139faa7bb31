"""psychrolib on moist air, MetPy on heat, structuralcodes on cement."""

from __future__ import annotations

import numpy as np
import psychrolib
from metpy.calc import heat_index as metpy_heat_index
from metpy.units import units
from structuralcodes.codes import ec2_2004, mc2010

from jobs.physics.evaporation import evaporation_menzel_kg_m2_h
from jobs.physics.heat import heat_index_c
from jobs.physics.psychrometrics import dew_point_c, saturation_vapour_pressure_kpa
from jobs.physics.setting import equivalent_age_h
from jobs.physics.strength import strength_ratio
from tests.physics.opinions.opinion import Opinion, cases_of


def vapour_pressure(seed: int, count: int) -> Opinion:

    psychrolib.SetUnitSystem(psychrolib.SI)
    temp = np.random.default_rng(seed).uniform(0.02, 50, count)
    theirs = np.array([psychrolib.GetSatVapPres(t) / 1000 for t in temp])
    ours = np.asarray(saturation_vapour_pressure_kpa(temp))
    why = "FAO-56 states its short form; the library has the ASHRAE equations"
    return Opinion("psychrolib", "vapour pressure", "", ours, theirs, 0.0015, why, cases_of(temp_c=temp), relative=True)


def dew_point(seed: int, count: int) -> Opinion:

    psychrolib.SetUnitSystem(psychrolib.SI)
    random = np.random.default_rng(seed)
    temp, humidity = random.uniform(5, 48, count), random.uniform(0.1, 1, count)
    ours = np.asarray(dew_point_c(temp, humidity))
    wet = ours > 0.5  # the library turns to ice below 0
    theirs = np.array([psychrolib.GetTDewPointFromRelHum(t, r) for t, r in zip(temp[wet], humidity[wet], strict=True)])
    cases = cases_of(temp_c=temp[wet], humidity=humidity[wet])
    return Opinion("psychrolib", "dew point", "degC", ours[wet], theirs, 0.03, "as for the vapour pressure", cases)


def menzel(seed: int, count: int) -> Opinion:

    psychrolib.SetUnitSystem(psychrolib.SI)
    random = np.random.default_rng(seed)
    surface, air = random.uniform(3, 45, count), random.uniform(3, 45, count)
    humidity, wind = random.uniform(0.05, 1, count), random.uniform(0, 40, count)
    psi = 0.0254**2 / (0.45359237 * 9.80665)  # of one Pa
    over = np.array([psychrolib.GetSatVapPres(t) for t in surface]) * psi
    around = np.array([psychrolib.GetSatVapPres(t) for t in air]) * psi
    us = 0.44 * (over - humidity * around) * (0.253 + 0.096 * wind / 1.609344)
    theirs = np.maximum(0, us * 0.45359237 / 0.3048**2)
    ours = np.asarray(evaporation_menzel_kg_m2_h(surface, air, humidity, wind))
    cases = cases_of(surface_c=surface, air_c=air, humidity=humidity, wind_km_h=wind)
    why = "0.2 % of the greatest rates, from the vapour pressure"
    return Opinion("psychrolib", "Menzel drying rate, US form", "kg/m2/h", ours, theirs, 0.012, why, cases)


def heat_index(seed: int, count: int) -> Opinion:

    random = np.random.default_rng(seed)
    temp, humidity = random.uniform(-5, 45, count), random.uniform(0.02, 1, count)
    fahrenheit = temp * 1.8 + 32
    simple = 0.5 * (fahrenheit + 61 + 1.2 * (fahrenheit - 68) + 9.4 * humidity)
    # that library hands over at 79 F, the weather service and we at 80 F; it also takes the adjustment for dry air off
    # the simple form, which the weather service applies to the regression only
    dry = (simple < 80) & (fahrenheit >= 79.99) & (humidity < 0.1301)
    same = ((simple < 78.99) | (simple >= 80.01)) & ~dry
    temp, humidity = temp[same], humidity[same]
    theirs = metpy_heat_index(temp * units.degC, humidity * units.dimensionless, mask_undefined=False)
    ours = np.asarray(heat_index_c(temp, humidity))
    why = "the same equation; cases where it departs from the weather service's page are left out"
    theirs_c = np.asarray(theirs.to("degC").magnitude)
    return Opinion("MetPy", "heat index", "degC", ours, theirs_c, 1e-6, why, cases_of(temp_c=temp, humidity=humidity))


def equivalent_age(seed: int, count: int) -> Opinion:

    random = np.random.default_rng(seed)
    days = [random.uniform(0, 45, random.integers(1, 60)) for _ in range(count)]
    steps = [random.uniform(0.1, 24, len(day)) for day in days]
    ours = np.array([equivalent_age_h(day, step) for day, step in zip(days, steps, strict=True)])
    theirs = np.array([mc2010.t_T(day, step) for day, step in zip(days, steps, strict=True)])
    cases = [f"{len(day)} steps, mean {day.mean():.1f} degC" for day in days]
    return Opinion(
        "structuralcodes", "equivalent age", "", ours, theirs, 1e-12, "the same equation", cases, relative=True
    )


def strength(seed: int, count: int) -> Opinion:

    random = np.random.default_rng(seed)
    age, s = 10 ** random.uniform(-1, 4, count), random.choice([0.2, 0.25, 0.38], count)
    theirs = np.array([ec2_2004.beta_cc(t, each) for t, each in zip(age, s, strict=True)])
    ours = np.asarray(strength_ratio(age, s))
    return Opinion(
        "structuralcodes", "strength ratio", "", ours, theirs, 1e-12, "the same equation", cases_of(age_d=age, s=s)
    )
