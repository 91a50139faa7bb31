"""Settings that only count where strangers can reach the service: Django's own deployment checks."""

from __future__ import annotations

from django.core.checks import Tags, run_checks

from resurf.checkup.finding import Finding, good, note


def deployment() -> list[Finding]:
    messages = run_checks(tags=[Tags.security], include_deployment_checks=True)
    if not messages:
        return [good("security", "Django's deployment checks have nothing to say.")]
    return [note("security", f"{message.id}: {' '.join(str(message.msg).split())}") for message in messages]
