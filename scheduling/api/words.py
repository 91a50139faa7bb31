"""The firm's own sentences on site, and its figures of the first month."""

from __future__ import annotations

from typing import Any

from django.utils import translation
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.firm_words import LANGUAGES, LONGEST, PLACES, own_words, words_said
from jobs.selectors.start_up_figures import start_up_settings
from jobs.timeline.start_up_settings import DEFAULT_DAYS, FIGURES_OF_FIRM, LAST_DAY, MOST_VISITS
from scheduling.forms.first_month import LATEST_FIRST_DAY
from scheduling.services.firm_settings import start_up_set, words_set
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Number, Text, Whole
from shared.api.marks import matched, shown
from shared.models import Firm
from shared.scopes import MANAGER


class SentenceBody(In):
    """One sentence by language; what is empty or missing is said as usual."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        return {name: Text(max_length=LONGEST, required=False, allow_blank=True) for name in LANGUAGES}


class WordsBody(In):
    """The firm's own sentences by their place."""

    EXAMPLE = {"pool_owner": {"en": "Ring us before you swim."}}

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        return {place: SentenceBody(required=False) for place in PLACES}


class SentenceRow(serializers.Serializer[Any]):
    """A place, the firm's own sentence by language, and what is said there now."""

    place = serializers.ChoiceField(choices=sorted(PLACES))
    words = serializers.CharField()
    own = serializers.DictField(child=serializers.CharField(allow_blank=True))
    said = serializers.DictField(child=serializers.CharField(allow_blank=True))


class SentencesRow(serializers.Serializer[Any]):
    results = SentenceRow(many=True)


class FirmWords(Endpoint):
    may = {"GET": MANAGER, "PUT": MANAGER}

    @operation("words_show", "What the firm says in its own words", gives=SentencesRow)
    def get(self, request: Request) -> Response:
        return shown(request, self._row(Firm.objects.get()))

    @operation("words_set", "Replace the firm's own sentences", takes=WordsBody, gives=SentencesRow, match=True)
    def put(self, request: Request) -> Response:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, self._row(firm))
        given = read(request, WordsBody)
        stripped = {place: {name: text.strip() for name, text in said.items()} for place, said in given.items()}
        own = {place: {name: text for name, text in said.items() if text} for place, said in stripped.items()}
        words_set(firm, {place: said for place, said in own.items() if said}, by=self.who)
        return shown(request, self._row(Firm.objects.get()))

    def _row(self, firm: Firm) -> Any:
        listed = []
        for place, each in PLACES.items():
            said = {}
            for language in LANGUAGES:
                with translation.override(language):
                    said[language] = words_said(firm, place)
            listed.append({"place": place, "words": str(each.label), "own": own_words(firm, place), "said": said})
        return SentencesRow({"results": listed}).data


class DaysBody(In):
    """First day of each thing after the fill; never sooner than common practice."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        return {thing: Whole(low=day, high=LATEST_FIRST_DAY, required=False) for thing, day in DEFAULT_DAYS.items()}


class FirstMonthBody(In):
    """The firm's own figures of the first month of water; a missing one is common practice."""

    EXAMPLE = {"visits": [1, 2, 3, 7, 14, 28]}

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        visit = Whole(low=0, high=LAST_DAY)
        fields: dict[str, Any] = {
            "visits": serializers.ListField(child=visit, required=False, min_length=1, max_length=MOST_VISITS + 1),
            "days": DaysBody(required=False),
        }
        for name, figure in FIGURES_OF_FIRM.items():
            said = f"{figure.label} [{figure.unit if figure.unit != '%' else 'share'}]"
            one: Any = (
                Whole(low=int(figure.low), high=int(figure.high), required=False)
                if figure.whole
                else Number(low=figure.low, high=figure.high, required=False)
            )
            fields[name] = (
                serializers.ListField(child=one, min_length=2, max_length=2, required=False, help_text=said)
                if figure.pair
                else one
            )
            fields[name].help_text = said
        return fields


class FirstMonthRow(serializers.Serializer[Any]):
    """The figures in force."""

    def get_fields(self) -> dict[str, serializers.Field]:  # type: ignore[type-arg]  # generic in the stubs, not at run time
        fields: dict[str, Any] = {
            "visits": serializers.ListField(child=serializers.IntegerField()),
            "days": serializers.DictField(child=serializers.IntegerField()),
        }
        for name, figure in FIGURES_OF_FIRM.items():
            pair = serializers.ListField(child=serializers.FloatField())
            fields[name] = pair if figure.pair else serializers.FloatField()
        return fields


class FirstMonth(Endpoint):
    may = {"GET": MANAGER, "PUT": MANAGER}

    @operation("first_month_show", "The figures of the first month of water", gives=FirstMonthRow)
    def get(self, request: Request) -> Response:
        return shown(request, self._row(Firm.objects.get()))

    @operation(
        "first_month_set", "Replace the firm's own figures of the first month",
        takes=FirstMonthBody, gives=FirstMonthRow, match=True,
    )  # fmt: skip
    def put(self, request: Request) -> Response:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, self._row(firm))
        given = {
            name: dict(value) if name == "days" else value for name, value in read(request, FirstMonthBody).items()
        }
        if "visits" in given:
            given["visits"] = sorted(set(given["visits"]))
        start_up_set(firm, given, by=self.who)
        return shown(request, self._row(Firm.objects.get()))

    def _row(self, firm: Firm) -> Any:
        found = start_up_settings(firm)
        names = ("visits", "days", *FIGURES_OF_FIRM)
        return FirstMonthRow({name: getattr(found, name) for name in names}).data
