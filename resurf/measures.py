"""Figures for Prometheus. A task looks at every firm in turn and keeps sums in the cache; a scrape reads only those.

No label names a firm, a person, a job or a place.
"""

from __future__ import annotations

import datetime as dt
import hmac
import time
from collections.abc import Iterator
from typing import Any, Final

from amqp.exceptions import ChannelError
from celery import current_app
from django.conf import settings
from django.core.cache import cache
from django.db import Error
from django.db.models import Max, Min
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseNotFound
from kombu.exceptions import OperationalError
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from redis.exceptions import RedisError

from jobs.models import WeatherCell, WeatherHours
from resurf import heartbeat
from resurf.answers import ANSWERS, KINDS, answers
from scheduling.models import Plan, PlanRun, PlanState, RunState
from scheduling.models.notice import Mail, Notice, NoticeState
from shared import clock
from shared.models import Contractor
from shared.models.outgoing import OutgoingState
from shared.queued import queued
from shared.tenancy.context import acting_for

KEPT: Final = "measures:firms"
KEPT_S: Final = 3600
STATUSES: Final = (200, 201, 204, 301, 302, 304, 400, 401, 403, 404, 405, 409, 412, 422, 428, 429, 500)


def firms_measured() -> dict[str, float]:
    """What waits and how long, over all firms; one firm's transaction after the other."""
    now = clock.now()
    found: dict[str, float] = dict.fromkeys(
        ("firms", "runs_waiting", "run_oldest_s", "notices_late", "notice_lag_s", "mails_waiting", "mail_oldest_s"), 0.0
    )
    gaps: list[float] = []
    for contractor in Contractor.objects.order_by("pk").iterator():
        with acting_for(contractor.pk):
            found["firms"] += 1
            runs = PlanRun.objects.filter(state=RunState.WAITING)
            _waiting(found, "runs_waiting", "run_oldest_s", runs, "asked_at", now)
            late = Notice.objects.filter(state=NoticeState.WAITING, due_at__lt=now)
            _waiting(found, "notices_late", "notice_lag_s", late, "due_at", now)
            mails = Mail.objects.filter(state__in=(OutgoingState.WAITING, OutgoingState.SENDING))
            _waiting(found, "mails_waiting", "mail_oldest_s", mails, "made_at", now)
            gaps += [
                max(0.0, (objective - bound) / objective)
                for objective, bound in Plan.objects.filter(
                    state__in=(PlanState.ISSUED, PlanState.PROPOSED), bound__isnull=False, objective__gt=0
                ).values_list("objective", "bound")
                if bound is not None
            ]
    gaps.sort()
    if gaps:
        found["gap_even"], found["gap_most"] = gaps[len(gaps) // 2], gaps[-1]
    return {**found, "at": time.time()}


def _waiting(found: dict[str, float], count: str, oldest: str, rows: Any, field: str, now: dt.datetime) -> None:
    first = rows.aggregate(first=Min(field))["first"]
    if first is not None:
        found[count] += rows.count()
        found[oldest] = max(found[oldest], (now - first).total_seconds())


@queued(name="resurf.measure", on_queue="default", expires=110)
def measure_task() -> None:
    cache.set(KEPT, firms_measured(), KEPT_S)


class Figures:
    """Read at each scrape: the cache, the broker, the shared weather. What cannot be read is left out."""

    def collect(self) -> Iterator[Any]:
        yield from self._firms()
        yield from self._weather()
        yield from self._queues()
        yield from self._answers()

    def _firms(self) -> Iterator[Any]:
        try:
            found: dict[str, float] = cache.get(KEPT) or {}
        except (RedisError, OSError):
            found = {}
        if not found:
            return
        said = {
            "resurf_contractors": ("Firms on this installation.", found["firms"]),
            "resurf_plan_runs_waiting": ("Searches for a plan that no worker has taken.", found["runs_waiting"]),
            "resurf_plan_run_oldest_seconds": ("Age of the oldest of them.", found["run_oldest_s"]),
            "resurf_notices_late": ("Notices that are due and not in a mail.", found["notices_late"]),
            "resurf_notice_lag_seconds": ("How long the latest of them is overdue.", found["notice_lag_s"]),
            "resurf_mails_waiting": ("Mails that are not sent.", found["mails_waiting"]),
            "resurf_mail_oldest_seconds": ("Age of the oldest of them.", found["mail_oldest_s"]),
            "resurf_measured_age_seconds": ("How old these figures are.", time.time() - found["at"]),
        }
        for name, (words, value) in said.items():
            yield GaugeMetricFamily(name, words, value)
        if "gap_even" in found:
            gap = GaugeMetricFamily("resurf_plan_gap_ratio", "(objective - bound) / objective of plans.", labels=["of"])
            gap.add_metric(["median"], found["gap_even"])
            gap.add_metric(["most"], found["gap_most"])
            yield gap

    def _weather(self) -> Iterator[Any]:
        try:
            newest = (
                WeatherHours.objects.values("cell").annotate(at=Max("fetched_at")).aggregate(first=Min("at"))["first"]
            )
            cells, failing = WeatherCell.objects.count(), WeatherCell.objects.exclude(failure="").count()
        except Error:
            return
        yield GaugeMetricFamily("resurf_weather_cells", "Squares of the weather.", cells)
        yield GaugeMetricFamily(
            "resurf_weather_cells_failing", "Those whose source gave no usable answer last.", failing
        )
        if newest is not None:
            age = (clock.now() - newest).total_seconds()
            yield GaugeMetricFamily("resurf_forecast_age_seconds", "Age of the oldest forecast in use.", age)

    def _queues(self) -> Iterator[Any]:
        try:
            lengths = _lengths()
            ages = heartbeat.ages_s([*map(heartbeat.queue_sign, heartbeat.queues()), heartbeat.BEAT])
        except (RedisError, OSError, OperationalError):
            yield GaugeMetricFamily("resurf_broker_up", "Whether the broker answers.", 0)
            return
        yield GaugeMetricFamily("resurf_broker_up", "Whether the broker answers.", 1)
        waiting = GaugeMetricFamily("resurf_queue_messages", "Messages that no worker has taken.", labels=["queue"])
        signs = GaugeMetricFamily("resurf_sign_of_life_seconds", "Since a worker or beat gave one.", labels=["of"])
        for name, length in lengths.items():
            waiting.add_metric([name], length)
        for name, age in ages.items():
            if age is not None:
                signs.add_metric([name.removeprefix("queue:")], age)
        yield waiting
        yield signs

    def _answers(self) -> Iterator[Any]:
        names = [f"{kind}:{status}" for kind in ("screen", *KINDS.values()) for status in STATUSES]
        try:
            kept = cache.get_many([f"{ANSWERS}:{name}" for name in names])
        except (RedisError, OSError):
            return
        family = CounterMetricFamily("resurf_answers", "Answers to requests.", labels=["kind", "status"])
        for name in names:
            if (count := kept.get(f"{ANSWERS}:{name}")) is not None:
                family.add_metric(name.split(":"), float(count))
        yield family


def _lengths() -> dict[str, float]:
    """Messages of each queue that no worker has taken."""
    found = {}
    with current_app.connection_for_read() as broker:
        channel: Any = broker.default_channel
        for name in heartbeat.queues():
            try:
                found[name] = float(channel.queue_declare(name, passive=True).message_count)
            except ChannelError:  # no message was ever sent there
                found[name] = 0.0
    return found


def metrics(request: HttpRequest) -> HttpResponseBase:
    """For who holds METRICS_TOKEN; without one only for this machine itself, not for what a proxy passes on."""
    if not _may(request):
        return HttpResponseNotFound("Not found.", content_type="text/plain")
    answers.flush()
    registry = CollectorRegistry()
    registry.register(Figures())
    answer = HttpResponse(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)
    answer["Cache-Control"] = "no-store"
    return answer


def _may(request: HttpRequest) -> bool:
    token = str(settings.METRICS_TOKEN)
    if token:
        given = request.headers.get("Authorization", "").removeprefix("Bearer ")
        return hmac.compare_digest(given.encode(), token.encode())
    passed_on = {"X-Forwarded-For", "Forwarded", "X-Real-IP"} & set(request.headers)
    return not passed_on and request.META.get("REMOTE_ADDR", "") in ("127.0.0.1", "::1", "")
