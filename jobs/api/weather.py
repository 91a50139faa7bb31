"""Where the firm's weather comes from, how old it is, and the files it brought itself."""

from __future__ import annotations

import uuid
from dataclasses import asdict
from typing import Any, Final

from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.models import WeatherFile
from jobs.selectors.weather_page import weather_page
from jobs.services.dates_ask import dates_ask
from jobs.services.weather_files import SOURCES, weather_file_keep, weather_file_remove, weather_source_set
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import Choice, In, Number, Text
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import Firm
from shared.scopes import MANAGER, OFFICE

MOST_FILE: Final = 12_000_000  # characters
USUAL: Final = "installation"
CHOICES: Final = [(name or USUAL, name or USUAL) for name in SOURCES]


class PlaceRow(serializers.Serializer[Any]):
    """How the forecast of one place stands; nothing is issued where none has come yet."""

    sites = serializers.ListField(child=serializers.CharField())
    source = serializers.CharField()  # type: ignore[assignment]  # a field, not the serializer's own source
    issued_at = serializers.DateTimeField(allow_null=True)
    asked_at = serializers.DateTimeField(allow_null=True)
    trouble = serializers.CharField(help_text="What was wrong with the last answer.")
    state = serializers.CharField()
    past = serializers.CharField(help_text="What stands in for the past of the season.")
    past_km = serializers.FloatField()


class WeatherRow(serializers.Serializer[Any]):
    """The source that was chosen and is in force, and the places of open jobs."""

    chosen = serializers.CharField()
    in_force = serializers.CharField()
    places = PlaceRow(many=True)


class SourceBody(In):
    EXAMPLE = {"source": USUAL}

    source = Choice(choices=CHOICES)  # type: ignore[assignment]  # as above


class WeatherFileRow(serializers.ModelSerializer[WeatherFile]):
    class Meta:
        model = WeatherFile
        fields = ("id", "name", "file_name", "latitude", "longitude", "starts", "count", "missing_h", "kept_at",
                  "kept_by")  # fmt: skip


class WeatherFileBody(In):
    EXAMPLE = {
        "name": "Roof of the yard",
        "latitude": 36.07,
        "longitude": -79.79,
        "text": "hour_beginning_utc,temp_air_c,dew_point_c,wind_10m_m_s\n"
        + "".join(f"2026-05-01T{hour:02d}:00Z,{14 + hour % 9},8,2\n" for hour in range(24)),
    }

    name = Text(max_length=80)
    latitude = Number(low=-90, high=90)
    longitude = Number(low=-180, high=180)
    text = Text(max_length=MOST_FILE, trim_whitespace=False, help_text="Hours as CSV with a line of names.")
    file_name = Text(max_length=200, required=False, allow_blank=True)


class Weather(Endpoint):
    may = {"GET": OFFICE}

    @operation("weather_show", "Where the weather comes from and how old it is", gives=WeatherRow)
    def get(self, request: Request) -> Response:
        return shown(request, weather_shown())


def weather_shown() -> Any:
    firm = Firm.objects.get()
    found = weather_page(firm, clock.now())
    places = [asdict(place) for place in found.places]
    return WeatherRow({"chosen": firm.weather_source or USUAL, "in_force": found.in_force, "places": places}).data


class WeatherSource(Endpoint):
    may = {"PUT": MANAGER}

    @operation(
        "weather_source_set", "Choose the source of forecasts; If-Match takes the tag of `weather_show`",
        takes=SourceBody, gives=WeatherRow, match=True,
    )  # fmt: skip
    def put(self, request: Request) -> Response:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, weather_shown())
        source = read(request, SourceBody)["source"]
        weather_source_set(firm, "" if source == USUAL else source, by=self.who)
        dates_ask(self.contractor)
        return shown(request, weather_shown())


class WeatherFilesAsked(Paged):
    kept_from = serializers.DateTimeField(required=False)
    kept_to = serializers.DateTimeField(required=False)


class WeatherFiles(Endpoint):
    may = {"GET": OFFICE, "POST": MANAGER}
    most_bytes = 14_000_000

    @operation("weather_files_list", "The firm's own hours of weather", gives=WeatherFileRow, many=True,
               filters=WeatherFilesAsked)  # fmt: skip
    def get(self, request: Request) -> Response:
        wanted = asked(request, WeatherFilesAsked)
        plain = {"kept_from": "kept_at__gte", "kept_to": "kept_at__lte"}
        found = WeatherFile.objects.filter(**{plain[name]: wanted[name] for name in plain if name in wanted})
        return page(found.defer("arrays"), wanted, WeatherFileRow)

    @operation("weather_file_keep", "Bring hours of weather", takes=WeatherFileBody, gives=WeatherFileRow, status=201)
    def post(self, request: Request) -> Response:
        made = weather_file_keep(**{"file_name": "", **read(request, WeatherFileBody)}, by=self.who)
        dates_ask(self.contractor)
        return shown(request, WeatherFileRow(made).data, 201, Location=reverse("api:weather-file", args=[made.pk]))


class OneWeatherFile(Endpoint):
    may = {"GET": OFFICE, "DELETE": MANAGER}

    @operation("weather_file_show", "One file", gives=WeatherFileRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, WeatherFileRow(self.own(WeatherFile, pk)).data)

    @operation("weather_file_remove", "Remove a file", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(WeatherFile, pk, lock=True)
        matched(request, WeatherFileRow(found).data)
        weather_file_remove(found, by=self.who)
        dates_ask(self.contractor)
        return Response(status=204)
