"""The pages used on site and the pool owner's page are Spanish to the last word."""

import gettext as gnu
import re
from pathlib import Path

import pytest
from django.conf import settings
from django.urls import reverse
from django.utils import translation

from jobs.models import JobState, PoolOwner
from jobs.physics.additions import PoolWater
from jobs.spoken import SENTENCES, spoken
from jobs.timeline import start_up_cautions
from jobs.timeline.start_up import WaterTest, advise_method, day_plan, earliest_dates, what_next
from jobs.timeline.start_up_settings import METHOD_WORDS
from jobs.timeline.water_tests import LoggedAddition
from shared.models import TokenKind
from shared.services.tokens import token_for
from shared.tenancy.context import acting_as, acting_for
from tests.scheduling.on_site import (
    TODAY,
    at,
    job_under_way,
    lead_of,
    new_id,
    on_day,
    set_state,
    stint_at,
    with_weather,
)

PO = Path(settings.LOCALE_PATHS[0]) / "es" / "LC_MESSAGES" / "django.po"
ENTRY = re.compile(r'(?:msgctxt "(?P<ctx>.*)"\n)?msgid (?P<id>(?:".*"\n)+)msgstr (?P<str>(?:".*"\n?)+)')

PLURAL = re.compile(r'msgid (?P<id>(?:".*"\n)+)msgid_plural (?:".*"\n)+(?P<forms>(?:msgstr\[\d\] (?:".*"\n?)+)+)')
FORM = re.compile(r'msgstr\[(?P<number>\d)\] (?P<str>(?:".*"\n?)+)')


def _text(quoted: str) -> str:
    joined = "".join(re.findall(r'^"(.*)"$', quoted, re.M))
    return joined.replace('\\"', '"').replace("\\n", "\n").replace("\\\\", "\\")


def _catalogue() -> dict[str, str]:
    found = {}
    for entry in ENTRY.finditer(PO.read_text()):
        context = f"{entry['ctx']}\x04" if entry["ctx"] else ""
        found[context + _text(entry["id"])] = _text(entry["str"])
    return found


def _plurals() -> dict[tuple[str, int], str]:
    return {
        (_text(entry["id"]), int(form["number"])): _text(form["str"])
        for entry in PLURAL.finditer(PO.read_text())
        for form in FORM.finditer(entry["forms"])
    }


def test_the_compiled_catalogue_is_that_of_the_text():
    with PO.with_suffix(".mo").open("rb") as compiled:
        known = gnu.GNUTranslations(compiled)._catalog
    written = {key: said for key, said in {**_catalogue(), **_plurals()}.items() if said and key}
    assert {key: said for key, said in known.items() if key} == written


def test_every_placeholder_is_in_both_languages():
    for key, said in _catalogue().items():
        if said and key:
            places = re.findall(r"%\(\w+\)[-+.\d]*[a-z]", key)
            assert sorted(places) == sorted(re.findall(r"%\(\w+\)[-+.\d]*[a-z]", said)), key


def test_every_sentence_of_the_timeline_is_in_the_catalogue():
    catalogue = _catalogue()
    missing = [sentence for sentence in SENTENCES if not catalogue.get(sentence)]
    assert not missing


def _english(text: str) -> bool:
    """Whether words are left that Spanish does not have."""
    words = {
        "the",
        "and",
        "of",
        "is",
        "not",
        "add",
        "test",
        "water",
        "before",
        "day",
        "above",
        "below",
        "acid",
        "brush",
    }
    return bool(words & set(re.findall(r"[a-z]+", text.lower())))


def _all_the_start_up_can_say():
    water = PoolWater(20, 7.2, 30, 20, 100)
    yield from advise_method(water).reasons
    yield from advise_method(PoolWater(20, 7.6, 250, 110, 500)).reasons
    for method in METHOD_WORDS:
        for finish in ("white", "pebble"):
            for day in day_plan(method, finish):
                yield from (*day.actions, *day.leave_alone, *day.cautions)
        for gate in earliest_dates(TODAY, TODAY, method=method):
            yield gate.words
            yield from (wait for wait in gate.waits_for if not wait.startswith("day "))
    for words in start_up_cautions.OF_CHEMICAL.values():
        yield from words
    for ph in (5.0, 6.5, 7.0, 7.5, 8.3, 9.5, 10.4):
        for alkalinity in (5, 40, 100, 250, 700):
            for calcium in (20, 250, 1600):
                yield from _advised(ph, alkalinity, calcium)


def _advised(ph, alkalinity, calcium):
    test = WaterTest(at(8), 20, ph, calcium, alkalinity, 300, 0)
    before = WaterTest(at(1), 20, 7.5, 250, 100, 500, 0)
    added = LoggedAddition(at(6), "HCl", 1.0)
    for day in (1, 10, 29):
        for previous, additions in ((None, ()), (before, ()), (None, (added,))):
            for method in METHOD_WORDS:
                advice = what_next(test, day=day, method=method, volume_m3=60, previous=previous, additions=additions)
                yield from (advice.sentence, *advice.reasons, *advice.cautions, *advice.leave_alone, *advice.remarks)
                yield advice.index_words


def test_whatever_the_start_up_says_is_said_in_spanish():
    said = {text for text in _all_the_start_up_can_say() if text}
    assert len(said) > 100
    with translation.override("es"):
        left = sorted(text for text in said if spoken(text) == text or _english(spoken(text)))
    assert not left, left[:10]


def test_a_text_nobody_knows_stays_as_it_is():
    with translation.override("es"):
        assert spoken("A sentence from elsewhere.") == "A sentence from elsewhere."
    assert spoken("dust cleared") == "dust cleared"


@pytest.fixture
def asked(monkeypatch) -> set[str]:
    """What the pages look up and the catalogue does not hold."""
    missing: set[str] = set()
    kept = {key for key, said in _catalogue().items() if said == key}
    looked_up = translation._trans.gettext

    def watched(message: str) -> str:
        said = looked_up(message)
        if (
            translation.get_language() == "es"
            and said == message
            and message not in kept
            and re.search("[a-z]", message)
        ):
            missing.add(message)
        return said

    monkeypatch.setattr(translation._trans, "gettext", watched)
    return missing


def _spanish_lead(cast, skill):
    person = cast.own.crew_lead.person
    with acting_as(person.pk):
        person.language = "es"
        person.save(update_fields=["language"])
    return lead_of(cast.own, skill)


def test_the_pages_on_site_leave_no_english_word(cast, asked):
    with on_day(8):
        job = job_under_way(cast.own)
        with_weather(job, cast.own)
        plaster = stint_at(job, cast.own, "plaster", at(7), at(14))
        drain = stint_at(job, cast.own, "drain_setup", at(6), at(7))
        stint_at(job, cast.own, "prep", at(6), at(7))
        stint_at(job, cast.own, "bond", at(6), at(7))
        stint_at(job, cast.own, "fill_start", at(16), at(17))
        stint_at(job, cast.own, "fill_end", at(36), at(40))
        stint_at(job, cast.own, "start_up", at(15), at(16), key="startup_1")
        client = _spanish_lead(cast, "plaster")
        _spanish_lead(cast, "water")
        _spanish_lead(cast, "prep")
        assert client.get(reverse("today")).status_code == 200
        for stint in (plaster, drain):
            assert client.get(reverse("stint-done", args=[stint.pk])).status_code == 200
            wrong = {"what": "done", "client_id": new_id(), "hours": "x"}
            answer = client.post(reverse("stint-done", args=[stint.pk]), wrong)
            assert answer.status_code == 422
        page = reverse("plaster-day", args=[job.pk])
        assert client.get(page).status_code == 200
        log = reverse("log", args=[job.pk])
        for kind, fields in (
            ("laid", {"section": "1"}),
            ("reading", {"material_c": "900"}),
            ("reading", {"material_c": "80"}),
            ("pass", {"number": "1", "section": "1"}),
        ):
            client.post(log, {"kind": kind, "client_id": new_id(), **fields})
        assert client.get(page).status_code == 200
        fill = reverse("fill-watch", args=[job.pk])
        assert client.get(fill).status_code == 200
        for kind, fields in (
            ("hose", {"action": "started"}),
            ("level", {"below_full_mm": "900"}),
            ("hose", {"action": "stopped"}),
        ):
            client.post(log, {"kind": kind, "client_id": new_id(), **fields})
            assert client.get(fill).status_code == 200
        assert client.get(reverse("today")).status_code == 200
        start_up = reverse("start-up", args=[job.pk])
        readings = {"ph": "8.2", "temp_c": "70", "total_alkalinity_mg_l": "90", "calcium_hardness_mg_l": "200"}
        client.post(start_up, {"what": "test", "of": "hose", "client_id": new_id(), **readings})
        assert client.get(start_up).status_code == 200
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY)
        for changes in ({}, {"ph": "12"}, {"ph": "words"}):
            client.post(start_up, {"what": "test", "of": "pool", "client_id": new_id(), **readings, **changes})
            assert client.get(start_up).status_code == 200
        client.post(
            start_up, {"what": "addition", "substance": "HCl", "amount": "1", "unit": "L", "client_id": new_id()}
        )
        client.post(log, {"kind": "brushed", "dust": "some", "client_id": new_id()})
        assert client.get(start_up).status_code == 200
        assert client.get(fill).status_code == 200
    assert not asked, sorted(asked)


@pytest.mark.parametrize("state", list(JobState.values))
def test_the_pool_owners_page_leaves_no_english_word(cast, client, asked, state):
    with on_day(8):
        job = job_under_way(cast.own)
        for stage in ("drain_setup", "prep", "bond", "plaster", "fill_start", "fill_end"):
            stint_at(job, cast.own, stage, at(7), at(14), state="done" if stage == "prep" else "issued")
        set_state(job, cast.own, state=state, promised_date=TODAY, filled_on=TODAY if "month" in state else None)
        with acting_for(cast.own.contractor.pk):
            PoolOwner.objects.update(language="es")
            secret = token_for(TokenKind.LINK, "pool_owner", job.pk).secret
        assert client.get(reverse("pool-owner", args=[secret])).status_code == 200
        client.post(reverse("pool-owner-answer", args=[secret]), {"answer": "home"})
        assert client.get(reverse("pool-owner", args=[secret])).status_code == 200
    assert not asked, sorted(asked)
