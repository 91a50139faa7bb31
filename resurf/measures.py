"""Figures for Prometheus. A task looks at every firm in turn and keeps sums in the cache; a scrape reads only those.

No label names a firm, a person, a job or a place.
"""

from __future__ import annotations

import datetime as dt
import hmac
import time
from collections.abc import Callable, Iterator
from operator import itemgetter
from typing import Any, Final

from django.conf import settings
from django.core.cache import cache
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
from resurf.groups import group
from resurf.queue_ages import queues_now
from resurf.route_times import histograms, route_times
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
    """Of the group of contractors at work: beat sends one such task for every database."""
    cache.set(kept_of(group()), {**firms_measured(), **weather_measured()}, KEPT_S)


def kept_of(alias: str) -> str:
    return f"{KEPT}:{alias}"


def groups() -> list[str]:
    return list(settings.DATABASES)


def weather_measured() -> dict[str, float]:
    newest = WeatherHours.objects.values("cell").annotate(at=Max("fetched_at")).aggregate(first=Min("at"))["first"]
    found = {
        "weather_cells": float(WeatherCell.objects.count()),
        "weather_failing": float(WeatherCell.objects.exclude(failure="").count()),
    }
    if newest is not None:
        found["weather_fetched"] = newest.timestamp()
    return found


# name: (words, the figure of one group of contractors; None where it has none)
SAID: Final[dict[str, tuple[str, Callable[[dict[str, float]], float | None]]]] = {
    "resurf_contractors": ("Firms on this installation.", itemgetter("firms")),
    "resurf_plan_runs_waiting": ("Searches for a plan that no worker has taken.", itemgetter("runs_waiting")),
    "resurf_plan_run_oldest_seconds": ("Age of the oldest of them.", itemgetter("run_oldest_s")),
    "resurf_notices_late": ("Notices that are due and not in a mail.", itemgetter("notices_late")),
    "resurf_notice_lag_seconds": ("How long the latest of them is overdue.", itemgetter("notice_lag_s")),
    "resurf_mails_waiting": ("Mails that are not sent.", itemgetter("mails_waiting")),
    "resurf_mail_oldest_seconds": ("Age of the oldest of them.", itemgetter("mail_oldest_s")),
    "resurf_weather_cells": ("Squares of the weather.", itemgetter("weather_cells")),
    "resurf_weather_cells_failing": (
        "Those whose source gave no usable answer last.", itemgetter("weather_failing"),
    ),
    "resurf_forecast_age_seconds": (
        "Age of the oldest forecast in use.",
        lambda found: clock.now().timestamp() - found["weather_fetched"] if "weather_fetched" in found else None,
    ),
    "resurf_measured_age_seconds": ("How old these figures are.", lambda found: time.time() - found["at"]),
}  # fmt: skip


class Figures:
    """Read at each scrape: the cache and the broker. What cannot be read is left out."""

    def collect(self) -> Iterator[Any]:
        yield from self._firms()
        yield from self._queues()
        yield from self._answers()
        yield from histograms()

    def _firms(self) -> Iterator[Any]:
        try:
            kept = cache.get_many([kept_of(alias) for alias in groups()])
        except (RedisError, OSError):
            kept = {}
        found = {alias: kept[kept_of(alias)] for alias in groups() if kept_of(alias) in kept}
        for name, (words, measure) in SAID.items():
            family = GaugeMetricFamily(name, words, labels=["group"])
            for alias, figures in found.items():
                if (value := measure(figures)) is not None:
                    family.add_metric([alias], value)
            if family.samples:
                yield family
        gap = GaugeMetricFamily(
            "resurf_plan_gap_ratio", "(objective - bound) / objective of plans.", labels=["group", "of"]
        )
        for alias, figures in found.items():
            if "gap_even" in figures:
                gap.add_metric([alias, "median"], figures["gap_even"])
                gap.add_metric([alias, "most"], figures["gap_most"])
        if gap.samples:
            yield gap

    def _queues(self) -> Iterator[Any]:
        try:
            lengths, waits = queues_now()
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
        oldest = GaugeMetricFamily(
            "resurf_queue_oldest_seconds", "Since the oldest of them was sent, by its own word.", labels=["queue"]
        )
        for name, age in waits.items():
            oldest.add_metric([name], age)
        yield waiting
        yield oldest
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


def metrics(request: HttpRequest) -> HttpResponseBase:
    """For who holds METRICS_TOKEN; without one only for this machine itself, not for what a proxy passes on."""
    if not _may(request):
        return HttpResponseNotFound("Not found.", content_type="text/plain")
    answers.flush()
    route_times.flush()
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
