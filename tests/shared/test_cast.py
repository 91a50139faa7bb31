from scheduling.models import Stint
from shared.tenancy.context import acting_for
from tests.cast import Cast, client_of, expect, issue, open_job


def test_the_cast_plans_and_issues_a_job(cast: Cast):
    job = open_job(cast.own)
    expect(job, cast.own)
    plan = issue(cast.own)
    with acting_for(cast.own.contractor.pk):
        assert Stint.objects.filter(plan=plan, job=job).count() == 13
    with acting_for(cast.other.contractor.pk):
        assert Stint.objects.count() == 0


def test_a_logged_in_member_gets_the_members_page(cast: Cast):
    assert client_of(cast.own.crew_lead).get("/firm/members/").status_code == 403
