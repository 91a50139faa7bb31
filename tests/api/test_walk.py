"""A random walk over the API by the links of its document; the long one: `python -m tests.faults.api_walk`."""

from __future__ import annotations

import copy
from random import Random
from typing import Any

import pytest

from resurf.api.schema import openapi
from tests.api.caller import caller_of
from tests.cast import Cast, a_bit_of_everything, a_picture
from tests.faults.api_walk import CHANGES, Walk, walked


@pytest.fixture(autouse=True)
def _without_limits(settings: Any) -> None:
    settings.API_A_MINUTE = dict.fromkeys(settings.API_A_MINUTE, 10**9)


@pytest.mark.parametrize("seed", [1, 2])
def test_every_answer_of_a_walk_is_as_the_document_says(db: None, seed: int):
    walk = walked(steps=450, seed=seed)
    found = walk.found
    said = found.told(walk.all_links)
    print(said)
    assert "\n".join(dict.fromkeys(found.wrong)) == ""
    assert said["server_errors"] == 0
    assert said["links"] >= 0.5 * len(walk.all_links), "the walk went nowhere"
    assert said["longest"] >= 5, "no chain of create, read, change"
    changes = sum(method in CHANGES for method, _, _ in walk.operations.values())
    assert said["kinds_of_changes"] >= 0.4 * changes, sorted(walk.never_changed)
    assert {"job_open", "survey_record", "scope_agree"} <= set(found.changes), "not even a scope came about"


def test_a_walk_sees_where_the_document_is_wrong(cast: Cast):
    """The walker is no walker that cannot fail."""
    a_bit_of_everything(cast.own)
    document = copy.deepcopy(openapi())
    document["components"]["schemas"]["JobRow"]["required"].append("no_such_field")
    del document["paths"]["/api/v1/stints"]["get"]["responses"]["200"]
    walk = Walk(caller_of(cast.own.manager).ask, document, Random(1), never=frozenset(), picture=a_picture())
    for name in ("jobs_list", "stints_list"):
        walk.begin(name)
    assert any("no_such_field" in said for said in walk.found.wrong)
    assert any("which the document does not know" in said for said in walk.found.wrong)
