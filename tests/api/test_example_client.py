"""The client of the documentation, run against a live server over the network of this machine."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from jobs.models import Job
from resurf.api import example_client
from resurf.api.example_client import Client, Refused
from resurf.api.schema import FILE
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import expect, make_cast, open_job
from tests.faults.api_cases import served

README = Path(example_client.__file__).with_name("README.md")


@pytest.mark.django_db(transaction=True)
def test_the_client_of_the_documentation_works(capsys: pytest.CaptureFixture[str]):
    cast = make_cast()
    expect(open_job(cast.own, label="Site 01"), cast.own)
    token = caller_of(cast.own.office).secret
    with served() as address:
        code = re.search(r"```python\n(.+?)```", README.read_text(encoding="utf-8"), re.DOTALL)
        assert code
        names: dict[str, object] = {"Client": Client, "token": token}
        exec(code.group(1).replace("https://plans.example", address), names)
        assert names["changed"]["weight"] == 3  # type: ignore[index]  # an answer without it fails here
        api = Client(address, token)
        job = api.call("job_show", id=names["job"]["id"])  # type: ignore[index]  # an answer without it fails here
        api.call("job_correct", id=job["id"], body={"work": {"weight": 4}}, read=job)
        with pytest.raises(Refused, match="412"):
            api.call("job_correct", id=job["id"], body={"work": {"weight": 5}}, read=job)
        assert [row["number"] for row in api.pages("jobs_list", limit=1)] == [102, 101]
        example_client.main(address, token)
        with pytest.raises(Refused, match="401"):
            Client(address, "rs1_wrong").call("me")
    assert re.search(r"101  Site 01: promised nothing; even chance by \d{4}-", capsys.readouterr().out)
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(number=102).weight == 4


def test_the_readme_names_the_document():
    assert FILE.name in README.read_text(encoding="utf-8")
