from __future__ import annotations

import datetime as dt
import re
import time
from typing import Any
from unittest import mock

import pytest
from celery import current_app
from django.core.cache import cache
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from redis.exceptions import ConnectionError as Gone

from resurf.answers import answers
from resurf.measures import firms_measured, kept_of, measure_task
from scheduling.models import Plan, PlanRun, RunState
from shared import clock
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import Cast, client_of, open_job
from tests.isolation.world import two_firms


def scraped(**headers: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    answer = Client().get("/metrics", headers=headers)
    assert answer.status_code == 200
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.content.decode())
        for sample in family.samples
    }


GROUP = (("group", "default"),)


def waiting_run(cast: Cast, minutes: int) -> None:
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.create(asked_by="cast", state=RunState.WAITING)
        PlanRun.objects.filter(pk=run.pk).update(asked_at=clock.now() - dt.timedelta(minutes=minutes))


def test_what_waits_in_any_firm_is_measured_and_scraped(cast: Cast):
    waiting_run(cast, 3)
    measure_task.run()
    found = scraped()
    assert found[("resurf_contractors", GROUP)] == 2
    assert found[("resurf_plan_runs_waiting", GROUP)] == 1
    assert 179 <= found[("resurf_plan_run_oldest_seconds", GROUP)] <= 181
    assert found[("resurf_broker_up", ())] == 1
    assert found[("resurf_queue_messages", (("queue", "plan"),))] >= 0


def test_the_gap_of_plans_is_measured(db: None):
    world = two_firms()
    with acting_for(world.cast.own.contractor.pk):
        Plan.objects.update(objective=100, bound=90)
    found = firms_measured()
    assert found["gap_most"] == pytest.approx(0.1)


def test_no_label_and_no_line_names_anything_of_a_firm(db: None):
    world = two_firms()
    measure_task.run()
    caller_of(world.cast.own.office).get("/jobs")
    said = Client().get("/metrics").content.decode()
    assert world.seen_in(said) == ""
    for word in ("own", "other", "quillfeather", "@"):
        assert f'"{word}' not in said
    labels = set(re.findall(r'(\w+)="', said))
    assert labels <= {"queue", "of", "kind", "status", "group", "route", "method", "le"}


def test_answers_are_counted_by_kind_and_status(cast: Cast):
    answers.flush()
    before = scraped()
    caller_of(cast.own.office).get("/jobs")
    caller_of(cast.own.crew_lead).get("/jobs")
    Client().get("/login/")
    after = scraped()

    def more(kind: str, status: str) -> float:
        key = ("resurf_answers_total", (("kind", kind), ("status", status)))
        return after.get(key, 0) - before.get(key, 0)

    assert (more("api", "200"), more("api", "403"), more("screen", "200")) == (1, 1, 1)


def test_a_scrape_without_cache_and_broker_still_answers(cast: Cast):
    gone = mock.Mock(side_effect=Gone("away"))
    with (
        mock.patch("resurf.measures.cache", mock.Mock(get=gone, get_many=gone)),
        mock.patch("resurf.measures.queues_now", gone),
        mock.patch("resurf.route_times.server", gone),
        mock.patch("resurf.answers.cache", mock.Mock(add=gone, incr=gone)),
    ):
        found = scraped()
    assert found[("resurf_broker_up", ())] == 0
    assert cache.get(kept_of("default")) is None


def test_figures_are_for_this_machine_or_the_holder_of_the_token(cast: Cast, settings: Any):
    assert Client().get("/metrics", headers={"X-Forwarded-For": "127.0.0.1"}).status_code == 404
    assert Client(REMOTE_ADDR="203.0.113.7").get("/metrics").status_code == 404
    settings.METRICS_TOKEN = "a long word"
    assert Client().get("/metrics").status_code == 404
    assert Client().get("/metrics", headers={"Authorization": "Bearer wrong"}).status_code == 404
    assert (
        Client(REMOTE_ADDR="203.0.113.7").get("/metrics", headers={"Authorization": "Bearer a long word"}).status_code
        == 200
    )


def test_each_route_has_its_count_and_a_histogram_of_its_times(cast: Cast):
    client = client_of(cast.own.office)
    job = open_job(cast.own)
    before = scraped()
    for _number in range(3):
        assert client.get(f"/jobs/{job.pk}/").status_code == 200
    client.get(f"/jobs/{cast.own.contractor.pk}/")
    client.get("/nowhere/at/all/")
    caller_of(cast.own.office).get("/jobs")
    after = scraped()

    def more(name: str, route: str, method: str, status: str, **labels: str) -> float:
        key = (name, tuple(sorted({"route": route, "method": method, "status": status, **labels}.items())))
        return after.get(key, 0.0) - before.get(key, 0.0)

    assert more("resurf_request_seconds_count", "job", "GET", "2xx") == 3
    assert more("resurf_request_seconds_count", "job", "GET", "4xx") == 1
    assert more("resurf_request_seconds_count", "none", "GET", "4xx") == 1
    assert more("resurf_request_seconds_count", "api:jobs", "GET", "2xx") == 1
    assert more("resurf_request_seconds_bucket", "job", "GET", "2xx", le="+Inf") == 3
    assert 0 < more("resurf_request_seconds_sum", "job", "GET", "2xx") < 60
    bounds = [key for key in after if key[0] == "resurf_request_seconds_bucket" and ("route", "job") in key[1]]
    counts = {dict(key[1])["le"]: after[key] for key in bounds if ("status", "2xx") in key[1]}
    in_order = [counts[bound] for bound in sorted(counts, key=float)]
    assert in_order == sorted(in_order), "buckets count what is below them"
    said = Client().get("/metrics").content.decode()
    assert str(job.pk) not in said


def test_a_made_up_method_makes_no_label_of_its_own(cast: Cast):
    Client().generic("BREW", "/login/")
    assert "BREW" not in Client().get("/metrics").content.decode()


def test_the_age_of_a_queue_is_that_of_its_oldest_message(cast: Cast):
    with mock.patch("resurf.queue_ages.time", mock.Mock(time=lambda: time.time() - 90)):
        measure_task.apply_async(queue="plan")
    measure_task.apply_async(queue="plan")
    found = scraped()
    assert found[("resurf_queue_messages", (("queue", "plan"),))] == 2
    assert 89 < found[("resurf_queue_oldest_seconds", (("queue", "plan"),))] < 100
    assert ("resurf_queue_oldest_seconds", (("queue", "weather"),)) not in found
    current_app.control.purge()


def test_figures_of_groups_stand_beside_each_other(cast: Cast):
    waiting_run(cast, 3)
    measure_task.run()
    cache.set(kept_of("east"), {**cache.get(kept_of("default")), "firms": 7.0, "runs_waiting": 4.0})
    with mock.patch("resurf.measures.groups", return_value=["default", "east"]):
        found = scraped()
    assert found[("resurf_contractors", GROUP)] == 2
    assert found[("resurf_contractors", (("group", "east"),))] == 7
    assert found[("resurf_plan_runs_waiting", (("group", "east"),))] == 4
