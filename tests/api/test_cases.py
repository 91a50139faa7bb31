"""A tenth of the made-up requests (500 and more); all of them: `python -m tests.faults.api_cases`."""

from __future__ import annotations

import pytest

from tests.faults.api_cases import cases


@pytest.mark.django_db(transaction=True)
def test_no_made_up_request_breaks_the_service_or_its_promises():
    found = cases(examples=5, seed=1, phases="examples,fuzzing,stateful")
    assert found["failures"] == 0, found["output"][-6000:]
    assert (found["code"], found["server_errors"]) == (0, 0), found["output"][-6000:]
    assert found["operations"] >= 70
    assert found["cases"] >= 500
    assert found["answers"]["200"] > 20, "most requests were refused: nothing was tried"
