"""Words of notices: the firm's own, the program's, and how a mail would read."""

from __future__ import annotations

from typing import Any, Final

from django.conf import settings
from django.utils import translation
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from scheduling.models import NoticeKind, NoticeText
from scheduling.notice_texts import BODY_LENGTH, SUBJECT_LENGTH, Words, words_checked
from scheduling.selectors.notice_samples import preview
from scheduling.services.mail_writing import words_of
from scheduling.services.notice_words import words_keep, words_usual
from shared import clock
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Text
from shared.api.marks import matched, shown
from shared.models import Firm
from shared.scopes import MANAGER, OFFICE

SPOKEN: Final = dict(settings.LANGUAGES)


class NoticeTextBody(In):
    EXAMPLE = {"subject": "{site}: a date has moved", "body": "Good morning {name},\n\n{lines}\n\n{firm}"}

    subject = Text(max_length=2 * SUBJECT_LENGTH)
    body = Text(max_length=2 * BODY_LENGTH)


class NoticeTextRow(serializers.Serializer[Any]):
    """The words of a kind in a language: the firm's own, or the program's."""

    kind = serializers.ChoiceField(choices=NoticeKind.choices)
    language = serializers.ChoiceField(choices=settings.LANGUAGES)
    subject = serializers.CharField()
    body = serializers.CharField()
    own = serializers.BooleanField()


class NoticeTextsRow(serializers.Serializer[Any]):
    results = NoticeTextRow(many=True)


class PreviewRow(serializers.Serializer[Any]):
    """What a receiver would read; site and names are invented."""

    subject = serializers.CharField()
    text = serializers.CharField()
    html = serializers.CharField()


class NoticeTexts(Endpoint):
    may = {"GET": OFFICE}

    @operation("notice_words_list", "The words of every kind of notice in every language", gives=NoticeTextsRow)
    def get(self, request: Request) -> Response:
        listed = [_text(kind, language) for kind in NoticeKind.values for language in SPOKEN]
        return shown(request, NoticeTextsRow({"results": listed}).data)


def _text(kind: str, language: str) -> dict[str, Any]:
    with translation.override(language):
        found = words_of(kind, language)
        said = {"subject": str(found.subject), "body": str(found.body)}
    own = NoticeText.objects.filter(kind=kind, language=language).exists()
    return {"kind": kind, "language": language, "own": own, **said}


class OfText(Endpoint):
    def known(self, kind: str, language: str) -> None:
        if kind not in NoticeKind.values or language not in SPOKEN:
            self.absent("There is no such kind of notice, or no such language.")


class OneNoticeText(OfText):
    may = {"GET": OFFICE, "PUT": MANAGER, "DELETE": MANAGER}

    @operation("notice_words_show", "The words of one kind in one language", gives=NoticeTextRow)
    def get(self, request: Request, kind: str, language: str) -> Response:
        self.known(kind, language)
        return shown(request, NoticeTextRow(_text(kind, language)).data)

    @operation(
        "notice_words_keep", "The firm's own words; the next mails are written so",
        takes=NoticeTextBody, gives=NoticeTextRow, match=True,
    )  # fmt: skip
    def put(self, request: Request, kind: str, language: str) -> Response:
        self._matched(request, kind, language)
        words_keep(kind, language, words_checked(**read(request, NoticeTextBody)), by=self.who)
        return shown(request, NoticeTextRow(_text(kind, language)).data)

    @operation("notice_words_usual", "The program's own words again", status=204, match=True)
    def delete(self, request: Request, kind: str, language: str) -> Response:
        self._matched(request, kind, language)
        words_usual(kind, language, by=self.who)
        return Response(status=204)

    def _matched(self, request: Request, kind: str, language: str) -> None:
        self.known(kind, language)
        Firm.objects.select_for_update(no_key=True).get()  # one after the other
        matched(request, NoticeTextRow(_text(kind, language)).data)


class NoticeTextPreview(OfText):
    may = {"POST": OFFICE}

    @operation("notice_words_try", "What a receiver would read; nothing is kept", takes=NoticeTextBody,
               gives=PreviewRow, tag=False)  # fmt: skip
    def post(self, request: Request, kind: str, language: str) -> Response:
        self.known(kind, language)
        words = words_checked(**read(request, NoticeTextBody))
        return Response(PreviewRow(self._preview(words, kind, language)).data)

    def _preview(self, words: Words, kind: str, language: str) -> Any:
        today = clock.now().astimezone(self.contractor.tz).date()
        return preview(words, kind, language, self.contractor, Firm.objects.get(), today)
