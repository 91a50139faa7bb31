"""Whatever the pages of crews and pool owners say in Spanish, looked up or not, holds no word of English.

Sentences of the pure code reach the pages as texts: a lookup that is forgotten leaves no trace but the English itself.
"""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

import pytest
from django.test import Client

from jobs.models import JobState
from tests.cast import Cast
from tests.scheduling import test_spanish as flows

ENGLISH = set(
    re.findall(
        r"\w+",
        """the and of is are was not with without before after until when where from for by at this that
        water day days hours hour minutes work weather wind rain cold heat acid add test brush wait start end full
        been will must may should each first last next above below air too than more less""",
    )
)
GIVEN = re.compile(
    r"Pool owner of Site \d+|(water|prep|plaster) crew of own|\w+ of own|Own Basin Works|Site \d+|Alder Court \d|resurf"
    r"|https?://\S+|[\w.]+@[\w.]+|/[\w/.-]+",
    re.IGNORECASE,
)
SHOWN = ("aria-label", "title", "alt", "placeholder")


class Said(HTMLParser):
    """What a reader sees or hears of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.silent = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in ("script", "style", "head")
        self.texts += [value or "" for name, value in attrs if name in SHOWN]

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("script", "style", "head")

    def handle_data(self, data: str) -> None:
        if not self.silent:
            self.texts.append(data)


@pytest.fixture
def pages(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, str]]:
    """Path and text of every page that any client gets, where the page says it is Spanish."""
    seen: list[tuple[str, str]] = []
    real = Client.request

    def request(self: Client, **asked: Any) -> Any:
        answer = real(self, **asked)
        if "html" in answer.get("Content-Type", "") and b'lang="es"' in answer.content[:400]:
            seen.append((str(asked.get("PATH_INFO")), answer.content.decode()))
        return answer

    monkeypatch.setattr(Client, "request", request)
    return seen


def english(pages: list[tuple[str, str]]) -> list[str]:
    """Texts that hold an English word, with the page's path."""
    found = []
    for path, page in pages:
        reader = Said()
        reader.feed(page)
        for text in reader.texts:
            left = GIVEN.sub(" ", text)
            words = set(re.findall(r"[a-záéíóúñü]+", left.lower())) & ENGLISH
            if words:
                found.append(f"{re.sub('[0-9a-f-]{36}', '…', path)}: {' '.join(text.split())[:140]} {sorted(words)}")
    return sorted(set(found))


def test_no_english_word_is_left_on_site(cast: Cast, pages: list[tuple[str, str]]):
    flows.test_the_pages_on_site_leave_no_english_word(cast, set())
    assert len(pages) > 15
    assert "\n".join(english(pages)) == ""


@pytest.mark.parametrize("state", list(JobState.values))
def test_no_english_word_is_left_for_the_pool_owner(
    cast: Cast, client: Client, pages: list[tuple[str, str]], state: str
):
    flows.test_the_pool_owners_page_leaves_no_english_word(cast, client, set(), state)
    assert pages
    assert "\n".join(english(pages)) == ""


def test_the_reader_would_notice_english():
    page = '<html lang="es"><body><p>La piscina</p><p title="wait 4 h">Add the acid</p></body></html>'
    assert len(english([("/", page)])) == 2
