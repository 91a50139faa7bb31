from jobs.condition.likelihoods import table_rows
from jobs.selectors.condition import finding_of, survey_latest
from shared.models import Firm
from shared.tenancy.context import acting_for
from tests.cast import Cast, open_job


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
