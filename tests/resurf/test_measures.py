from __future__ import annotations

import datetime as dt
import re
from typing import Any
from unittest import mock

import pytest
from django.core.cache import cache
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from redis.exceptions import ConnectionError as Gone

from resurf.answers import answers
from resurf.measures import KEPT, firms_measured, measure_task
from scheduling.models import Plan, PlanRun, RunState
from shared import clock
from shared.tenancy.context import acting_for
from tests.api.caller import caller_of
from tests.cast import Cast
from tests.isolation.world import two_firms


def scraped(**headers: str) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    answer = Client().get("/metrics", headers=headers)
    assert answer.status_code == 200
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.content.decode())
        for sample in family.samples
    }


def waiting_run(cast: Cast, minutes: int) -> None:
    with acting_for(cast.own.contractor.pk):
        run = PlanRun.objects.create(asked_by="cast", state=RunState.WAITING)
        PlanRun.objects.filter(pk=run.pk).update(asked_at=clock.now() - dt.timedelta(minutes=minutes))


def test_what_waits_in_any_firm_is_measured_and_scraped(cast: Cast):
    waiting_run(cast, 3)
    measure_task.run()
    found = scraped()
    assert found[("resurf_contractors", ())] == 2
    assert found[("resurf_plan_runs_waiting", ())] == 1
    assert 179 <= found[("resurf_plan_run_oldest_seconds", ())] <= 181
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
    assert labels <= {"queue", "of", "kind", "status"}


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
        mock.patch("resurf.measures._lengths", gone),
        mock.patch("resurf.answers.cache", mock.Mock(add=gone, incr=gone)),
    ):
        found = scraped()
    assert found[("resurf_broker_up", ())] == 0
    assert cache.get(KEPT) is None


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
