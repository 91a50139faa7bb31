"""Broker, workers, beat."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from redis import Redis
from redis.exceptions import RedisError

from resurf import addresses, heartbeat
from resurf.checkup.finding import Finding, bad, good, note


def queue(running_is_expected: bool) -> list[Finding]:
    """Workers and beat are missed only where the service is meant to be running."""
    try:
        client = Redis.from_url(addresses.cache(settings.REDIS_URL), socket_connect_timeout=2, socket_timeout=5)
        facts = client.info()
        policy = str(client.config_get("maxmemory-policy").get("maxmemory-policy", "unknown"))
    except RedisError as error:
        return [bad("broker", f"No answer from REDIS_URL: {error}.")]
    return [*_broker(facts, policy), *_workers(bad if running_is_expected else note)]


def _broker(facts: dict[str, object], policy: str) -> list[Finding]:
    name = "Valkey" if "valkey_version" in facts else "Redis"
    version = facts.get("valkey_version") or facts.get("redis_version")
    found = [good("broker", f"{name} {version} answers.")]
    if policy != "noeviction":
        found.append(bad("broker", f"maxmemory-policy is {policy}: messages could be dropped; set noeviction."))
    if not int(str(facts.get("aof_enabled", 0))):
        found.append(note("broker", "No append-only file: after a power cut, sweeps have to find waiting work."))
    return found


def _workers(missing: Callable[[str, str], Finding]) -> list[Finding]:
    names = heartbeat.queues()
    ages = heartbeat.ages_s([*(heartbeat.queue_sign(name) for name in names), heartbeat.BEAT])
    unserved = [name for name in names if not heartbeat.in_time(ages[heartbeat.queue_sign(name)])]
    return [
        missing("worker", f"No worker serves {', '.join(unserved)}.")
        if unserved
        else good("worker", f"Every queue is served: {', '.join(names)}."),
        good("beat", "Scheduled tasks arrive.")
        if heartbeat.in_time(ages[heartbeat.BEAT])
        else missing("beat", "No scheduled task has arrived in the last 90 s."),
    ]
