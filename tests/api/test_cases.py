"""A tenth of the made-up requests (500 and more) and of the chains; all: `python -m tests.faults.api_cases`."""

from __future__ import annotations

import pytest

from tests.faults.api_cases import cases


@pytest.mark.django_db(transaction=True)
def test_no_made_up_request_breaks_the_service_or_its_promises():
    found = cases(examples=4, seed=1, phases="examples,fuzzing,stateful", scenarios=15)
    print({name: value for name, value in found.items() if name != "output"})
    assert found["failures"] == 0, found["output"][-6000:]
    assert (found["code"], found["server_errors"]) == (0, 0), found["output"][-6000:]
    assert found["operations"] >= 140
    assert found["cases"] >= 500
    assert found["answers"]["200"] > 100, "most requests were refused: nothing was tried"
    assert found["links"] >= 12, "the scenarios followed no links"
    assert found["followed"] >= 15
    assert found["longest"] >= 2, "no chain; longer ones are walked by tests/api/test_walk.py"
    assert found["changes"] >= 3, "nothing was changed by what an earlier answer gave"
