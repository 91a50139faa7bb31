"""The contested acid start-up needs a signature."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from jobs.models import Job
from jobs.services.corrections import job_correct
from jobs.services.water import acid_sign
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job
from tests.scheduling.on_site import TODAY, job_under_way, new_id, on_day


def _signed(cast, job, member="office", **changes):
    fields = {"signed_by": "A. Maker", "signed_on": "2026-04-14", "instruction": "As the sheet of the finish says."}
    client = client_of(cast.own.members[member])
    form = {"what": "acid", "client_id": new_id(), **fields, **changes}
    return client.post(reverse("start-up", args=[job.pk]), form)


def test_the_acid_start_up_needs_a_name_a_date_and_a_written_instruction(cast):
    with on_day(9):
        job = job_under_way(cast.own)
        for field in ("signed_by", "signed_on", "instruction"):
            assert _signed(cast, job, **{field: ""}).status_code == 422
        assert _signed(cast, job, signed_on="2026-05-01").status_code == 422, "not signed in the future"
        with acting_for(cast.own.contractor.pk):
            assert Job.objects.get(pk=job.pk).start_up_method == "traditional"
        assert _signed(cast, job, "crew_lead").status_code == 400, "a crew lead signs for nothing"
        assert _signed(cast, job).status_code == 302
        page = client_of(cast.own.crew_lead).get(reverse("start-up", args=[job.pk])).content.decode()
    assert "signed by A. Maker" in page and "Nothing is computed for it here." in page
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=job.pk).start_up_method == "acid"
        assert AuditEntry.objects.get(what="start-up method").after["signed_by"] == "A. Maker"


def test_the_acid_start_up_cannot_be_chosen_past_the_signature(cast):
    job = open_job(cast.own)
    with acting_for(cast.own.contractor.pk):
        shared = {"by": cast.own.office, "pool_owner": {}, "site": {}}
        with pytest.raises(ValidationError, match="needs a signature first"):
            job_correct(job, work={"start_up_method": "acid"}, **shared)
        acid_sign(job, signed_by="A", signed_on=TODAY, instruction="B", by=cast.own.office)
        job_correct(job, work={"start_up_method": "traditional"}, **shared)
        job_correct(job, work={"start_up_method": "acid"}, **shared)
        assert Job.objects.get(pk=job.pk).start_up_method == "acid"
