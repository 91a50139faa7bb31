"""Turns: at most one process at a time does a thing for a firm (a PostgreSQL advisory lock of the transaction)."""

from __future__ import annotations

import uuid

from django.db import connection


def turn_taken(what: str, contractor_id: uuid.UUID) -> bool:
    """True when this transaction may go on; False when another one is at it. Given back at the end of either."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(hashtextextended(%s, 0))", [f"{what}:{contractor_id}"])
        return bool(cursor.fetchone()[0])
