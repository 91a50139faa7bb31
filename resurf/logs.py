"""Logs: JSON lines for machines, plain lines for the demonstration; a request id, never personal data.

Addresses of pages are logged as routes ("feed/<token>/"), since a private link is a secret; the DETAIL lines of
database errors are dropped, since they quote the row.
"""

from __future__ import annotations

import logging
import logging.config
import re
from typing import Any

import structlog
from structlog.typing import EventDict, Processor

# "DETAIL:  Key (email)=(...) already exists." and the like, up to the end of that line.
_QUOTED_ROW = re.compile(r"^(?:DETAIL|CONTEXT):.*$\n?", re.MULTILINE)
# These loggers put the address of the page into the message, after a colon.
_LOGGERS_WITH_ADDRESSES = ("django.request", "django.security")


class Unexpected(logging.Filter):
    """Lets Django's word on a request pass if something was raised; other answers have their request line."""

    def filter(self, record: logging.LogRecord) -> bool:
        return record.name != "django.request" or bool(record.exc_info)


def logging_settings(*, readable: bool, level: str) -> dict[str, Any]:
    """Django's LOGGING: one handler, on standard error."""
    renderer: Processor = (
        structlog.dev.ConsoleRenderer(colors=False) if readable else structlog.processors.JSONRenderer()
    )
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {
            "lines": {
                "()": structlog.stdlib.ProcessorFormatter,
                "foreign_pre_chain": [*_shared_steps(), structlog.stdlib.ExtraAdder()],
                "processors": [
                    without_addresses,
                    structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                    structlog.processors.format_exc_info,
                    without_quoted_rows,
                    renderer,
                ],
            }
        },
        "filters": {"unexpected": {"()": Unexpected}},
        "handlers": {"lines": {"class": "logging.StreamHandler", "formatter": "lines", "filters": ["unexpected"]}},
        "root": {"handlers": ["lines"], "level": level},
        "loggers": {
            "django": {"handlers": [], "level": level, "propagate": True},
            "django.server": {"handlers": [], "propagate": True},
            "gunicorn.error": {"handlers": [], "propagate": True},
            "celery.worker.strategy": {"level": "WARNING"},
            "celery.app.trace": {"level": "WARNING"},
            "httpx": {"level": "WARNING"},
        },
    }


def configure(settings: dict[str, Any]) -> None:
    """Called by Django with LOGGING, and by Celery's workers."""
    logging.config.dictConfig(settings)
    structlog.configure(
        processors=[
            structlog.stdlib.filter_by_level,
            *_shared_steps(),
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )


def without_addresses(logger: Any, method: str, event: EventDict) -> EventDict:
    """Cut the address of the page from the messages of Django's own loggers."""
    record: logging.LogRecord | None = event.get("_record")
    if record is not None and record.name.startswith(_LOGGERS_WITH_ADDRESSES):
        event["event"] = str(event["event"]).split(":", 1)[0].strip()
        event.pop("request", None)
    return event


def without_quoted_rows(logger: Any, method: str, event: EventDict) -> EventDict:
    """Cut the lines of a database error that quote the row."""
    for name in ("event", "exception", "error"):
        if isinstance(event.get(name), str):
            event[name] = _QUOTED_ROW.sub("", event[name])
    return event


def _shared_steps() -> list[Processor]:
    return [
        structlog.contextvars.merge_contextvars,
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.stdlib.PositionalArgumentsFormatter(),
    ]
