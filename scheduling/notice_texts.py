"""Words of notices: the program's own, or the firm's with placeholders. A placeholder is replaced once; no code runs.

A body is paragraphs. `{lines}` stands alone in its paragraph and becomes what has happened: one sentence, or a list.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from django.core.exceptions import ValidationError
from django.utils.html import escape
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, gettext_noop

PLACEHOLDERS: Final = {
    "name": gettext_lazy("the receiver's name"),
    "firm": gettext_lazy("the name of the firm"),
    "phone": gettext_lazy("the firm's telephone"),
    "site": gettext_lazy("the site, or how many pools"),
    "day": gettext_lazy("the day that it is about"),
    "lines": gettext_lazy("what has happened, one line each; alone in its paragraph"),
    "page": gettext_lazy("address of the page that shows more"),
}
NOT_SENT: Final = {  # why a notice or a mail was not sent, by the code that is kept
    "late": gettext_lazy("its time had passed before it could be sent"),
    "mail_free": gettext_lazy("its time lies in the receiver's mail-free hours"),
    "no_address": gettext_lazy("no e-mail address is known"),
    "refused": gettext_lazy("the mail server refused the address"),
    "unwanted": gettext_lazy("it is not wanted any more"),
    "called_off": gettext_lazy("the job was called off"),
    "moved_on": gettext_lazy("it was moved to another day since"),
    "moved_back": gettext_lazy("it was moved back before it was told"),
    "moved_again": gettext_lazy("it was moved once more before it was told"),
    "full": gettext_lazy("the pool is full"),
    "tested": gettext_lazy("the water was tested since"),
    "corrected": gettext_lazy("the fill day was corrected since"),
}
IN_SUBJECT: Final = ("firm", "site", "day")
MARK: Final = re.compile(r"\{([a-z]+)\}")
LINES: Final = "{lines}"
PAGE: Final = "{page}"
SUBJECT_LENGTH: Final = 160
BODY_LENGTH: Final = 4000


@dataclass(frozen=True)
class Words:
    """Subject and body with placeholders."""

    subject: str
    body: str


_BODY: Final = gettext_noop("Hello {name},\n\n{lines}\n\n{page}\n\n{firm}, {phone}")
DEFAULTS: Final[Mapping[str, Words]] = {
    "fill_tomorrow": Words(gettext_noop("{site}: filling starts {day}"), _BODY),
    "filling": Words(gettext_noop("{site}: the water is running"), _BODY),
    "be_there": Words(gettext_noop("{site}: be there before the pool is full"), _BODY),
    "moved": Words(gettext_noop("{site}: a date has moved"), _BODY),
    "doubt": Words(gettext_noop("{site}: plaster day in doubt"), _BODY),
    "water_test": Words(gettext_noop("{site}: water test"), _BODY),
    "duties": Words(gettext_noop("{site}: what to do and not to do from {day}"), _BODY),
    "digest": Words(
        gettext_noop("{firm}: {day} at a glance"), gettext_noop("Good morning {name},\n\n{lines}\n\n{page}")
    ),
}


def usual_words(kind: str) -> Words:
    """The program's own words in the active language."""
    found = DEFAULTS[kind]
    return Words(_(found.subject), _(found.body))


def words_checked(subject: str, body: str) -> Words:
    """A firm's own words, or a refusal that says what is wrong, with what is allowed.

    Raises
    ------
    ValidationError
        By field, for unknown placeholders, a missing or misplaced `{lines}`, and texts that are empty or too long.
    """
    subject, body = " ".join(subject.split()), "\n".join(line.rstrip() for line in body.strip().splitlines())
    wrong: dict[str, list[str]] = {}
    for field, text, allowed, most in (
        ("subject", subject, IN_SUBJECT, SUBJECT_LENGTH),
        ("body", body, tuple(PLACEHOLDERS), BODY_LENGTH),
    ):
        said = []
        if not text:
            said.append(_("Write something; it is empty."))
        if len(text) > most:
            said.append(_("%(length)d characters; at most %(most)d are allowed.") % {"length": len(text), "most": most})
        unknown = sorted({name for name in MARK.findall(text) if name not in allowed})
        if unknown:
            listed = ", ".join(f"{{{name}}}" for name in allowed)
            said.append(
                _("“{%(name)s}” is no placeholder here; allowed are %(allowed)s.")
                % {"name": unknown[0], "allowed": listed}
            )
        wrong |= {field: said} if said else {}
    if body and (body.count(LINES) != 1 or LINES not in paragraphs(body)):
        wrong.setdefault("body", []).append(_("{lines} must stand once, alone in a paragraph of its own."))
    if wrong:
        raise ValidationError(wrong)
    return Words(subject, body)


def paragraphs(body: str) -> list[str]:
    return [part.strip() for part in re.split(r"\n\s*\n", body.replace("\r\n", "\n")) if part.strip()]


def filled(text: str, values: Mapping[str, str]) -> str:
    """Each known placeholder by its value, once: what a value contains is not looked at again.

    One that stands for nothing goes with the comma before it (“{firm}, {phone}” of a firm without a telephone).
    """
    for name, value in values.items():
        if not value:
            text = text.replace(f", {{{name}}}", "")
    return MARK.sub(lambda found: values.get(found[1], found[0]), text)


def subject_line(words: Words, values: Mapping[str, str]) -> str:
    """One line without control characters."""
    return " ".join("".join(c if c.isprintable() else " " for c in filled(words.subject, values)).split())[:240]


def text_body(words: Words, lines: Sequence[str], values: Mapping[str, str], footer: Sequence[str]) -> str:
    """The plain text; long lines are left to the reader's program."""
    said = []
    for part in paragraphs(words.body):
        if part == LINES:
            said.append(lines[0] if len(lines) == 1 else "\n".join(f"- {line}" for line in lines))
        else:
            said.append(filled(part, values).strip())
    return "\n\n".join([*(part for part in said if part), "-- \n" + "\n".join(footer)]) + "\n"


STYLE: Final = {
    "page": "margin:0;padding:16px;background:#f7f5f0;color:#1c2529;"
    "font:16px/1.5 system-ui,'Segoe UI','Helvetica Neue',Arial,sans-serif",
    "sheet": "max-width:36em;margin:0 auto;background:#fffdf8;border:1px solid #cfc9bb;padding:20px 24px",
    "p": "margin:0 0 14px",
    "ul": "margin:0 0 14px;padding:0 0 0 20px",
    "li": "margin:0 0 8px",
    "a": "color:#1f4e5f",
    "foot": "max-width:36em;margin:12px auto 0;color:#4d585c;font-size:14px",
}


@dataclass(frozen=True)
class Footer:
    """Why somebody gets this, and the address at which it is stopped or changed."""

    why: str
    stop: str
    address: str

    @property
    def lines(self) -> list[str]:
        return [self.why, f"{self.stop} {self.address}"]


def html_body(
    words: Words, lines: Sequence[str], values: Mapping[str, str], footer: Footer, language: str, title: str
) -> str:
    """The same as HTML with inline styles, no picture and nothing fetched from anywhere."""
    said = []
    for part in paragraphs(words.body):
        if part == LINES and len(lines) == 1:
            said.append(f'<p style="{STYLE["p"]}">{escape(lines[0])}</p>')
        elif part == LINES:
            items = "".join(f'<li style="{STYLE["li"]}">{escape(line)}</li>' for line in lines)
            said.append(f'<ul style="{STYLE["ul"]}">{items}</ul>')
        elif part == PAGE and values.get("page"):
            link = f'<a style="{STYLE["a"]}" href="{escape(values["page"])}">{escape(_("More on this page"))}</a>'
            said.append(f'<p style="{STYLE["p"]}">{link}</p>')
        elif text := filled(part, values).strip():
            said.append(f'<p style="{STYLE["p"]}">{_linked(text, values.get("page", ""))}</p>')
    stop = f'<a style="{STYLE["a"]}" href="{escape(footer.address)}">{escape(footer.stop.rstrip(":"))}</a>'
    return (
        f'<!doctype html><html lang="{escape(language)}"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width"><title>{escape(title)}</title></head>'
        f'<body style="{escape(STYLE["page"])}"><div style="{STYLE["sheet"]}">{"".join(said)}</div>'
        f'<p style="{STYLE["foot"]}">{escape(footer.why)} {stop}</p></body></html>'
    )


def _linked(text: str, page: str) -> str:
    """Escaped, with the one address of the page as a link."""
    said = escape(text).replace("\n", "<br>")
    if not page:
        return said
    shown = escape(page)
    return said.replace(shown, f'<a style="{STYLE["a"]};overflow-wrap:anywhere" href="{shown}">{shown}</a>')
