"""What became of the calls of hooks: our rows beside what the receiver took."""

from __future__ import annotations

from collections import Counter
from typing import Any

from scheduling.models import HookCall, HookEvent
from shared.models import Contractor, OutgoingState
from shared.tenancy.context import acting_for
from tests.faults.ledger import Ledger
from tests.faults.receiver import Receiver


def calls_tally(ledger: Ledger, receiver: Receiver) -> dict[str, Any]:
    """Counts of calls, and in words each that was lost, doubled, unknown or badly signed.

    lost : no taken call for a row, or an acknowledged plan without its row; doubled : taken more often than tried, or
    with other words under the same id, or the same plan under two ids; unrecorded : taken, but our row does not say so.
    """
    counts: Counter[str] = Counter()
    words: list[str] = []
    known: set[str] = set()

    def bad(kind: str, sentence: str) -> None:
        counts[kind] += 1
        words.append(f"call {kind}: {sentence}")

    for contractor in Contractor.objects.all():
        with acting_for(contractor.pk):
            rows = list(HookCall.objects.all())
        known |= {str(row.pk) for row in rows}
        for row in rows:
            taken = receiver.taken[str(row.pk)]
            if not taken:
                bad("lost", f"{contractor.slug} {row.event} {row.cause} {row.state} {row.answer}")
            if taken > row.attempts:
                bad("doubled", f"{contractor.slug} {row.event} {row.cause}: {taken} times in {row.attempts} attempts")
            if row.state != OutgoingState.SENT:
                bad("unrecorded", f"{contractor.slug} {row.event} {row.cause}: {row.state} {row.answer}")
        tries = sum(kind == "call" and slug == contractor.slug for slug, kind, _ in ledger.acknowledged)
        made = sum(row.event == HookEvent.TEST for row in rows)
        if made < tries:
            bad("lost", f"{contractor.slug}: {tries - made} tries of {tries}")
        told = Counter(row.cause for row in rows if row.event == HookEvent.PLAN_ISSUED)
        issued = {what for slug, kind, what in ledger.acknowledged if kind == "issue" and slug == contractor.slug}
        for plan in sorted(issued - told.keys()):
            bad("lost", f"{contractor.slug} plan {plan} was told to nobody")
        for plan, times in told.items():
            if times > 1:
                bad("doubled", f"{contractor.slug} plan {plan}: {times} calls")
    for number in receiver.taken.keys() - known:
        bad("doubled", f"{number}: taken, and no row of ours")
    for number, bodies in receiver.bodies.items():
        if len(bodies) > 1:
            bad("doubled", f"{number}: {len(bodies)} different bodies")
    for number in receiver.badly_signed:
        bad("badly_signed", number)
    names = ("lost", "doubled", "unrecorded", "badly_signed")
    again = sum(times - 1 for times in receiver.taken.values())
    moods = dict(receiver.moods)
    return {"calls": len(known), "taken_again": again, **{name: counts[name] for name in names}, "moods": moods,
            "words": words[:20]}  # fmt: skip
