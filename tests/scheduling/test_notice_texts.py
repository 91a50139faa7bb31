"""How a mail is written: the firm's words, the receiver's language, what the standards of mail ask."""

from __future__ import annotations

import datetime as dt
import email
import email.policy
import re

import pytest
from django.core.exceptions import ValidationError

from jobs.models import Job, PoolOwner
from scheduling.models import (
    Mail,
    NoticeText,
)
from scheduling.notice_texts import Words, filled, html_body, subject_line, text_body, words_checked
from scheduling.selectors.receivers import addressees
from scheduling.services.mail_writing import footer_of
from scheduling.services.receivers import receivers_of
from shared import clock
from shared.models import OutgoingState
from shared.post import bytes_of
from shared.tenancy.context import acting_for
from tests.cast import Cast
from tests.scheduling.telling import (
    OWNER,
    at_local,
    job,
    move,
    open_watch,
    send,
)

__all__ = ["job"]  # the fixture


def test_the_message_carries_what_the_standards_ask(cast: Cast, job: Job):
    """RFC 8058 (one-click), RFC 2369 (List-Unsubscribe), RFC 3834 (Auto-Submitted), RFC 5322 (Message-ID)."""
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    parsed = email.message_from_bytes(bytes_of(message), policy=email.policy.default)
    assert parsed["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert re.fullmatch(r"<http://\S+/notices/for/\S+/stop/\?kind=moved>", parsed["List-Unsubscribe"].strip())
    assert parsed["Auto-Submitted"] == "auto-generated"
    with acting_for(cast.own.contractor.pk):
        row = Mail.objects.get(to=OWNER)
    assert parsed["Message-ID"] == row.message_id
    assert (row.state, row.attempts, row.repeats) == (OutgoingState.SENT, 1, 0)
    assert parsed["From"].startswith("Own Basin Works <")
    text, html = parsed.get_body(("plain",)), parsed.get_body(("html",))
    assert text is not None
    assert html is not None
    assert "Your pool will be full on" in text.get_content()
    assert "Your pool will be full on" in html.get_content()
    assert max(len(line) for line in bytes_of(message).split(b"\r\n")) <= 998


def test_a_spanish_pool_owner_reads_spanish(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.filter(pk=job.pool_owner_id).update(language="es")
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    for english in ("Your pool", "Hello", "Why", "You get this", "Choose or stop"):
        assert english not in message.body
    assert "piscina" in message.body


def test_a_firms_own_words_are_used_and_its_placeholders_filled(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        words = words_checked("News of {site} from {firm}", "Dear {name},\n\n{lines}\n\nYours, {firm}")
        NoticeText.objects.create(kind="moved", language="en", subject=words.subject, body=words.body)
    now = at_local(cast.own, clock.now().date(), 10)
    open_watch(cast.own, now)
    move(job, cast.own, 2, now)
    message = next(m for m in send(cast.own, now + dt.timedelta(minutes=4)) if OWNER in m.to[0])
    assert message.subject == "News of Site 01 from Own Basin Works"
    assert message.body.startswith("Dear Pool owner of Site 01,\n\nYour pool will be full")


@pytest.mark.parametrize(
    ("subject", "body", "said"),
    [
        ("", "{lines}", "it is empty"),
        ("{secret}", "{lines}", "“{secret}” is no placeholder here; allowed are {firm}, {site}, {day}"),
        ("x", "{lines} {lines}", "must stand once"),
        ("x", "no list", "must stand once"),
        ("x", "{lines}\n\n{request}", "“{request}” is no placeholder"),
        ("x" * 161, "{lines}", "161 characters; at most 160"),
    ],
)
def test_words_that_cannot_be_used_are_refused_with_what_is_allowed(subject: str, body: str, said: str):
    with pytest.raises(ValidationError) as refused:
        words_checked(subject, body)
    assert said in str(refused.value)


def test_placeholders_run_no_code_and_values_are_not_looked_at_again():
    assert filled("{name} {firm.__class__} {% now %} {{ x }}", {"name": "{firm}", "firm": "F"}) == (
        "{firm} {firm.__class__} {% now %} {{ x }}"
    )
    assert subject_line(Words("{site}", "x"), {"site": "a\r\nBcc: all@cast.example"}) == "a Bcc: all@cast.example"


def test_markup_in_a_name_stays_text(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        receiver = receivers_of([("pool_owner", job.pool_owner_id)])[("pool_owner", job.pool_owner_id)]
        who = addressees(cast.own.contractor, [receiver])[receiver.pk]
        footer = footer_of(cast.own.contractor, who, "moved")
    values = {"name": "<script>alert(1)</script>", "firm": "A & B", "phone": "", "page": "https://a.example/?x=1&y=2"}
    words = Words("s", "Hello {name},\n\n{lines}\n\n{page}\n\n{firm}, {phone}")
    html = html_body(words, ["<b>one</b>", "two"], values, footer, "en", "<t>")
    assert "<script>" not in html
    assert "<b>" not in html
    assert 'href="https://a.example/?x=1&amp;y=2"' in html
    text = text_body(words, ["<b>one</b>"], values, footer.lines)
    assert "A & B\n\n-- \n" in text
