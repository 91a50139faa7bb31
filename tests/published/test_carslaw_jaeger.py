"""Carslaw and Jaeger (1959), Conduction of Heat in Solids, and what follows from it: closed forms."""

from jobs.physics import conduction
from jobs.physics.surface_temperature import ground_temperature_c
from tests.published.rows import Record, Row, Runs, agree, every_row

DAY_S, YEAR_S = 86_400.0, 365 * 86_400.0


def spread(row: Row) -> float:
    return float(conduction.diffusivity_m2_s(row["k"], row["rho_c"]))


def depth_of_a_day(row: Row) -> float:
    return float(conduction.damping_depth_m(spread(row), DAY_S))


def depth_of_a_year(row: Row) -> float:
    return float(conduction.damping_depth_m(spread(row), YEAR_S))


def wave(row: Row) -> tuple[float, float]:
    return conduction.wave_at_depth(row["x_m"], depth_of_a_day(row))


def surface(row: Row) -> tuple[float, float]:
    return conduction.surface_wave(row["h"], row["k"], depth_of_a_day(row))


def behind_a_film(row: Row) -> float:
    return float(conduction.step_response(row["x_m"], row["t_h"], spread(row), row["h"] / row["k"]))


def ground(row: Row) -> float:
    return float(ground_temperature_c(row["Tm"], row["As"], row["t0_day"], row["a_m2_s"], row["z_m"], row["day"]))


RUNS: Runs = {
    "PT-DIF": lambda row: spread(row) * 1e6,
    "PT-DEP-1": depth_of_a_day,
    "PT-DEP-3": depth_of_a_year,
    "PT-PERA": lambda row: wave(row)[0],
    "PT-PERL": lambda row: wave(row)[1],
    "PT-BARA": lambda row: surface(row)[0],
    "PT-BARL": lambda row: surface(row)[1],
    "PT-ERFC": lambda row: float(conduction.step_response(row["x_m"], row["t_h"], spread(row))),
    "PT-CJ": behind_a_film,
    "PT-FLUX": lambda row: conduction.constant_flux_rise_k(row["q_W_m2"], row["t_h"], row["k"], spread(row)),
    "PT-STDY": lambda row: conduction.steady_surface_c(row["Ta_C"], row["Tdeep_C"], row["h"], row["layers_m_k"]),
    "PT-CON-1": lambda row: conduction.contact_temperature_c(
        row["T_mix_C"], tuple(row["coat"]), row["T_shell_C"], tuple(row["shell"])
    ),
    "PT-CON-2": lambda row: conduction.coat_memory_s(row["d_m"], row["rho_c_coat"], tuple(row["shell"])),
    "PT-KUS": ground,
}


@every_row(RUNS)
def test_conduction_in_closed_form_is_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
