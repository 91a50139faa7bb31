"""Moving water: EPANET 2.2 and NFPA 13 for hoses, a falling-head integral for pumps, plain volume over flow."""

from __future__ import annotations

from jobs.physics.hydraulics import fill_h, friction_loss_kpa_m, hose_flow_l_min, pump_out_h, pump_power_kw
from jobs.physics.units import convert
from tests.published.rows import Record, Row, Runs, agree, every_row


def hose_gpm(row: Row) -> float:
    flow = hose_flow_l_min(
        convert(row["P_psi"], "psi", "kPa"),
        convert(row["L_ft"], "ft", "m"),
        convert(row["d_in"], "in", "mm"),
        row["C"],
    )
    return float(convert(flow, "L/min", "gpm"))


def loss_psi_ft(row: Row) -> float:
    flow, diameter = convert(row["Q_gpm"], "gpm", "L/min"), convert(row["d_in"], "in", "mm")
    loss = friction_loss_kpa_m(flow, diameter, row["C"])
    return float(convert(loss, "kPa", "psi")) * float(convert(1, "ft", "m"))


def hours(row: Row) -> float:
    flow = row["Q_gpm"] * row.inputs.get("n_hoses", 1)
    return float(fill_h(convert(row["V_gal"], "gal", "m3"), convert(flow, "gpm", "L/min")))


def falling_head_h(row: Row) -> float:
    area, flow = convert(row["A_ft2"], "ft2", "m2"), convert(row["Q0_gpm"], "gpm", "L/min")
    shutoff, start, end = convert([row["H0_ft"], row["h1_ft"], row["h2_ft"]], "ft", "m")
    return float(pump_out_h(area, flow, shutoff, start, end))


def power_hp(row: Row) -> float:
    power = pump_power_kw(convert(row["Q_gpm"], "gpm", "L/min"), convert(row["H_ft"], "ft", "m"))
    return float(convert(power, "kW", "hp"))


def power_w(row: Row) -> float:
    return 1000 * float(pump_power_kw(convert(row["Q_m3_h"], "m3/h", "L/min"), row["H_m"]))


RUNS: Runs = {
    "FILL-HW": hose_gpm,
    "FILL-PL": loss_psi_ft,
    "FILL-T": hours,
    "DR-T": hours,
    "DR-C": falling_head_h,
    "DR-P-1": power_hp,
    "DR-P-2": power_w,
}


@every_row(RUNS)
def test_flows_and_times_are_reproduced(row: Row, record_property: Record) -> None:
    agree(row, RUNS, record_property)
