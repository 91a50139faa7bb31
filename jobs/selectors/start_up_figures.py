"""The firm's own figures of the first month of water."""

from __future__ import annotations

from jobs.timeline.start_up_settings import StartUpSettings, settings_of
from shared.models import Firm


def start_up_settings(firm: Firm | None = None) -> StartUpSettings:
    """The figures in force: the firm's own, else common practice; reads the firm where it is not at hand."""
    found = Firm.objects.only("start_up", "contractor_id").get() if firm is None else firm
    return settings_of(found.start_up)
