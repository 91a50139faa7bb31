"""Correcting what was noted of a job: all of it or nothing, with a trail of what it was."""

from __future__ import annotations

import re

import pytest

from jobs.models import Job
from shared.models import AuditEntry
from shared.tenancy.context import acting_for
from tests.cast import client_of, open_job


@pytest.fixture
def office(cast):
    return client_of(cast.own.office)


@pytest.fixture
def job(cast):
    return open_job(cast.own)


def shown(office, job):
    """The form as a browser would send it back untouched."""
    html = office.get(f"/jobs/{job.pk}/change/").content.decode()
    typed = dict(re.findall(r'<input type="(?:text|email|date)" name="([\w-]+)" value="([^"]*)"', html))
    typed |= dict(re.findall(r'<textarea name="([\w-]+)"[^>]*>\n?([^<]*)</textarea>', html))
    for name, options in re.findall(r'<select name="([\w-]+)"[^>]*>(.*?)</select>', html, re.DOTALL):
        typed[name] = re.search(r'value="([^"]*)" selected', options)[1]
    checked = re.findall(r'<input type="checkbox" name="([\w-]+)"[^>]*checked', html)
    return typed | dict.fromkeys(checked, "on")


def kept(cast, job):
    with acting_for(cast.own.contractor.pk):
        return Job.objects.select_related("site", "pool_owner").get(pk=job.pk)


def trail(cast):
    with acting_for(cast.own.contractor.pk):
        return list(AuditEntry.objects.filter(what__endswith="corrected").order_by("at", "id"))


def test_sending_the_page_back_untouched_changes_nothing(cast, office, job):
    before = kept(cast, job)
    assert office.post(f"/jobs/{job.pk}/change/", shown(office, job)).status_code == 302
    after = kept(cast, job)
    assert trail(cast) == []
    assert (after.site.hose_flow_l_min, after.site.hose_flow_measured) == (45.0, True)
    assert after.version == before.version


def test_a_change_is_kept_with_what_it_was_before(cast, office, job):
    wanted = {"owner-phone": "555 0177", "site-discharge_limit_l_min": "20", "work-weight": "3"}
    assert office.post(f"/jobs/{job.pk}/change/", shown(office, job) | wanted).status_code == 302
    after = kept(cast, job)
    assert (after.pool_owner.phone, after.weight) == ("555 0177", 3)
    assert after.site.discharge_limit_l_min == pytest.approx(75.708, abs=0.01)
    owner, site, work = trail(cast)
    assert (owner.before, owner.after) == ({"phone": ""}, {"phone": "555 0177"})
    assert site.before == {"discharge_limit_l_min": 150.0}
    assert work.after == {"weight": 3}


def test_a_new_bucket_test_replaces_the_flow(cast, office, job):
    wanted = {"site-hose_by": "bucket", "site-bucket_l": "5", "site-bucket_s": "20"}
    office.post(f"/jobs/{job.pk}/change/", shown(office, job) | wanted)
    assert kept(cast, job).site.hose_flow_l_min == pytest.approx(56.78, abs=0.01)


def test_one_refusal_keeps_all_of_it_back(cast, office, job):
    wanted = {"owner-phone": "555 0177", "work-weight": "10"}
    answer = office.post(f"/jobs/{job.pk}/change/", shown(office, job) | wanted)
    assert answer.status_code == 422
    assert "How much a late day counts is 10; allowed is 1 to 9." in answer.content.decode()
    assert "555 0177" in answer.content.decode()
    assert kept(cast, job).pool_owner.phone == ""
