import datetime as dt
import re

from django.urls import reverse

from shared.tenancy.context import acting_for
from tests.cast import client_of
from tests.scheduling.on_site import TODAY, at, job_under_way, lead_of, on_day, stint_at


def _week(client, **query) -> str:
    answer = client.get(reverse("crew-week"), query)
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def test_seven_days_with_work_place_people_and_cautions(cast):
    with on_day(6):
        job = job_under_way(cast.own, label="Site 09")
        days = [TODAY + dt.timedelta(days=number) for number in (1, 6, 7)]
        stint_at(job, cast.own, "prep", at(8, days[0]), at(16, days[0]))
        stint_at(job, cast.own, "bond", at(9, days[1]), at(12, days[1]))
        text = _week(lead_of(cast.own, "prep"))
    assert "prep crew of own, Wednesday 15 April to Tuesday 21 April" in text
    assert "Chip at Site 09, four people. On site 8:00 am to 4:00 pm." in text and "Site 09, Alder Court 4" in text
    assert "Bond coat at Site 09" in text and "Nothing is issued." in text
    assert text.count("Silica") == 1 or text.lower().count("silica") == 1, "each caution once"


def test_the_week_that_was_asked_for(cast):
    with on_day(6):
        job = job_under_way(cast.own, label="Site 09")
        later = TODAY + dt.timedelta(days=9)
        stint_at(job, cast.own, "prep", at(8, later), at(16, later))
        client = lead_of(cast.own, "prep")
        assert "Chip at" not in _week(client)
        assert "Chip at Site 09" in _week(client, **{"from": (TODAY + dt.timedelta(days=7)).isoformat()})
        for nonsense in ("yesterday", "0001-01-01", "9999-12-31"):
            assert "Wednesday 15 April to Tuesday 21 April" in _week(client, **{"from": nonsense})


def test_the_office_names_the_crew_and_a_lead_sees_only_the_crews_led(cast):
    with on_day(6):
        lead_of(cast.own, "prep")
        water, plaster = cast.own.crews["water"], cast.own.crews["plaster"]
        assert "plaster crew of own, " in _week(client_of(cast.own.office), crew=str(plaster.pk))
        lead = client_of(cast.own.crew_lead)
        assert "crew of own, " in _week(lead)
        assert lead.get(reverse("crew-week"), {"crew": str(plaster.pk)}).status_code == 404
        assert client_of(cast.other.office).get(reverse("crew-week"), {"crew": str(water.pk)}).status_code == 404


def test_a_lead_of_no_crew_is_told_so(cast):
    with acting_for(cast.own.contractor.pk):
        for crew in cast.own.crews.values():
            crew.lead = None
            crew.save(update_fields=["lead"])
    assert "You lead no crew" in _week(client_of(cast.own.crew_lead))
