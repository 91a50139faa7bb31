"""A firm's own likelihoods: seen, changed within their range, put back; they weigh in its surveys alone."""

from __future__ import annotations

import re

import pytest

from jobs.condition.likelihoods import DEFAULT_TABLE, table_rows
from jobs.condition.observations import CATALOGUE
from jobs.selectors.condition import finding_of, survey_latest
from shared.models import AuditEntry, Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, open_job


def test_a_firms_own_likelihoods_decide_for_that_firm_alone(cast: Cast):
    """A firm that has learned nothing from feel makes every answer to it equally likely: the answer says nothing."""
    jobs = [open_job(firm, agreed=False) for firm in (cast.own, cast.other)]
    rows = table_rows()
    for row in rows:
        if row["observation"] == "feel_grit":
            row["probabilities"] = {key: 1 / len(row["probabilities"]) for key in row["probabilities"]}
    with acting_for(cast.own.contractor.pk):
        before = finding_of(survey_latest(jobs[0].pool))
        Firm.objects.update(likelihoods={"rows": rows})
        after = finding_of(survey_latest(jobs[0].pool))
    with acting_for(cast.other.contractor.pk):
        theirs = finding_of(survey_latest(jobs[1].pool))
    assert after.painted != before.painted
    assert theirs.probabilities == before.probabilities


TILE_LINE = "/firm/likelihoods/?what=tile_line"


@pytest.fixture
def manager(cast: Cast):
    return client_of(cast.own.manager)


def fields(client, url: str = TILE_LINE) -> dict[str, str]:
    """What the form holds as it stands."""
    page = client.get(url).content.decode()
    return dict(re.findall(r'name="(\d+_\w+)" value="([^"]*)"', page))


def kept(cast: Cast) -> dict:
    with acting_for(cast.own.contractor.pk):
        return Firm.objects.get().likelihoods


def test_every_line_of_the_table_is_shown_with_its_source(manager):
    page = manager.get("/firm/likelihoods/").content.decode()
    for observation in CATALOGUE:
        assert observation.label in page
    assert page.count('<tr><th scope="row">') == len(DEFAULT_TABLE)
    assert "Common practice, no source." in page
    assert "From memory." in page
    assert "2 to 4 coats" in page
    assert "edge cut back at the tile line" in page


def test_an_own_figure_is_kept_weighs_in_the_survey_and_stands_in_the_trail(cast: Cast, manager):
    job = open_job(cast.own, agreed=False)
    with acting_for(cast.own.contractor.pk):
        before = finding_of(survey_latest(job.pool)).coats
    number = next(n for n, line in enumerate(lines()) if dict(line.when).get("edge") == ("cut_back",))
    changed = {f"{number}_flush": "50", f"{number}_proud": "43", f"{number}_stepped_in": "7"}
    assert manager.post(TILE_LINE, {**fields(manager), **changed}).status_code == 302
    rows = [row for row in kept(cast)["rows"] if row["observation"] == "tile_line"]
    assert rows[number]["probabilities"] == {"flush": 0.5, "proud": 0.43, "stepped_in": 0.07}
    assert [row["mark"] for row in rows].count("own") == 1
    with acting_for(cast.own.contractor.pk):
        assert finding_of(survey_latest(job.pool)).coats != before
        entry = AuditEntry.objects.get(what="likelihoods changed")
    assert entry.before["lines"][0]["probabilities"]["flush"] == 0.88
    page = manager.get("/firm/likelihoods/").content.decode()
    assert "own figure of the firm" in page
    assert "manager of own (manager)" in page


def test_what_was_not_touched_stays_exactly_and_nothing_is_kept(cast: Cast, manager):
    for observation in CATALOGUE:
        url = f"/firm/likelihoods/?what={observation.name}"
        assert manager.post(url, fields(manager, url)).status_code == 302
    assert kept(cast) == {}


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"0_flush": "80"}, "adds up to 86 %; the answers of a line must make 100 %."),
        ({"0_flush": "0"}, "allowed is 0.01 to 100 %"),
        ({"0_flush": "-3"}, "allowed is 0.01 to 100 %"),
        ({"0_flush": "much"}, "it must be a number"),
        ({"0_flush": ""}, "is missing; allowed is 0.01 to 100 %"),
    ],
)
def test_what_makes_no_sense_is_refused_and_stays_typed(cast: Cast, manager, typed, sentence):
    answer = manager.post(TILE_LINE, {**fields(manager), **typed})
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert f'name="0_flush" value="{typed["0_flush"]}"' in page or not typed["0_flush"]
    assert kept(cast) == {}


def test_usual_figures_come_back_one_by_one_and_all_at_once(cast: Cast, manager):
    chips = "/firm/likelihoods/?what=acid_drop"
    manager.post(TILE_LINE, {**fields(manager), "0_flush": "90", "0_proud": "5", "0_stepped_in": "5"})
    manager.post(chips, {**fields(manager, chips), "0_fizzes": "10", "0_does_not": "90"})
    manager.post(TILE_LINE, {"do": "reset"})
    rows = kept(cast)["rows"]
    assert {row["observation"] for row in rows if row["mark"] == "own"} == {"acid_drop"}
    assert manager.post("/firm/likelihoods/").status_code == 302
    assert kept(cast) == {}
    with acting_for(cast.own.contractor.pk):
        assert AuditEntry.objects.filter(what="likelihoods changed").count() == 4


def test_figures_are_the_managers_and_of_one_firm(cast: Cast, manager):
    manager.post(TILE_LINE, {**fields(manager), "0_flush": "90", "0_proud": "5", "0_stepped_in": "5"})
    assert client_of(cast.own.office).get(TILE_LINE).status_code == 403
    assert fields(client_of(cast.other.manager))["0_flush"] == "94"
    assert manager.get("/firm/likelihoods/?what=nothing").status_code == 404


def lines():
    return [case for case in DEFAULT_TABLE if case.observation == "tile_line"]
