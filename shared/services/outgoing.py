"""What has to reach another computer once: claimed, handed over, recorded; or tried again, or given up.

Two workers never hold one row: it is claimed by one UPDATE that skips locked rows. A claim ends by itself, so a row
of a worker that died is found by `outgoing_sweep`. Just before the other side could accept, `outgoing_hand` writes
that down; a row that died before was surely not accepted. Between the acceptance and `outgoing_sent` lies the one
window in which nobody can know: such a row is sent again under the same id, and counted in `repeats`.
"""

from __future__ import annotations

import datetime as dt
import random
import uuid
from collections.abc import Sequence
from typing import Any, Final, TypeVar

from django.db import transaction
from django.db.models import F, Q, QuerySet

from shared import clock
from shared.models.outgoing import Outgoing, OutgoingState

M = TypeVar("M", bound=Outgoing)
FIRST_WAIT: Final = dt.timedelta(minutes=1)
LONGEST_WAIT: Final = dt.timedelta(hours=2)
JITTER: Final = 0.25  # share by which a wait is made longer or shorter, so that failures do not come back in step
ANSWER_LENGTH: Final = 300


@transaction.atomic
def outgoing_claim(rows: QuerySet[M], *, most: int, lease: dt.timedelta) -> list[M]:
    """Take the next waiting rows whose time has come, oldest first; nobody else gets them until the lease is over."""
    now = clock.now()
    claim = uuid.uuid4()
    due = rows.filter(state=OutgoingState.WAITING, next_try_at__lte=now).order_by("next_try_at", "pk")
    taken = list(due.select_for_update(skip_locked=True, of=("self",)).values_list("pk", flat=True)[:most])
    if not taken:
        return []
    rows.filter(pk__in=taken).update(
        state=OutgoingState.SENDING, claim=claim, claimed_until=now + lease, handed_at=None, attempts=F("attempts") + 1
    )
    return list(rows.filter(pk__in=taken).order_by("next_try_at", "pk"))


def outgoing_hand(row: M, *, lease: dt.timedelta) -> bool:
    """Write down that from now on the other side may have it; False when the claim is no longer ours: do not send."""
    now = clock.now()
    return _ours(row).update(handed_at=now, claimed_until=now + lease) == 1


def outgoing_sent(row: M, *, code: int | None, answer: str) -> bool:
    return _ours(row).update(**_over(OutgoingState.SENT, code, answer)) == 1


def outgoing_failed(row: M, *, code: int | None, answer: str) -> bool:
    """Given up: the other side will never take it."""
    return _ours(row).update(**_over(OutgoingState.FAILED, code, answer)) == 1


def outgoing_later(row: M, *, code: int | None, answer: str, most_attempts: int) -> bool:
    """Try again after a growing wait with jitter; False when that was the last attempt, and it failed."""
    if row.attempts >= most_attempts:
        outgoing_failed(row, code=code, answer=answer)
        return False
    wait = wait_after(row.attempts, random.random())
    _ours(row).update(
        state=OutgoingState.WAITING,
        next_try_at=clock.now() + wait,
        claim=None,
        claimed_until=None,
        handed_at=None,
        code=code,
        answer=answer[:ANSWER_LENGTH],
    )
    return True


def outgoing_release(rows: Sequence[M]) -> None:
    """Give back what was claimed and not tried; it costs no attempt."""
    for row in rows:
        _ours(row).update(
            state=OutgoingState.WAITING, claim=None, claimed_until=None, attempts=max(0, row.attempts - 1)
        )


def wait_after(attempts: int, chance: float) -> dt.timedelta:
    """Wait before the next attempt: doubled each time up to the longest, then shifted by *chance* in 0 to 1."""
    doubled: dt.timedelta = min(LONGEST_WAIT, FIRST_WAIT * 2 ** max(0, min(attempts - 1, 20)))
    return doubled * (1 + JITTER * (2 * chance - 1))


def outgoing_sweep(rows: QuerySet[M]) -> int:
    """Let rows whose worker died wait again; returns how many."""
    gone = rows.filter(state=OutgoingState.SENDING, claimed_until__lt=clock.now())
    free: dict[str, Any] = {"state": OutgoingState.WAITING, "claim": None, "claimed_until": None}
    unknown = gone.filter(~Q(handed_at=None)).update(**free, repeats=F("repeats") + 1)
    return unknown + gone.filter(handed_at=None).update(**free)


def _ours(row: M) -> QuerySet[M]:
    rows: QuerySet[M] = type(row)._default_manager.filter(pk=row.pk, state=OutgoingState.SENDING, claim=row.claim)
    return rows


def _over(state: str, code: int | None, answer: str) -> dict[str, Any]:
    return {"state": state, "done_at": clock.now(), "code": code, "answer": answer[:ANSWER_LENGTH], "claim": None}
