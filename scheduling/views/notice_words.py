from __future__ import annotations

from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from jobs.forms.measures import service_errors
from scheduling.forms.notices import WordsForm
from scheduling.models import NoticeKind, NoticeText
from scheduling.notice_texts import IN_SUBJECT, PLACEHOLDERS, Words, words_checked
from scheduling.selectors.notice_samples import Preview, preview
from scheduling.services.mail_writing import words_of
from scheduling.services.notice_words import words_keep, words_usual
from scheduling.views.notices import html_answer
from shared import access, clock
from shared.models import Firm, Membership


@require_safe
def notice_words(request: HttpRequest) -> HttpResponse:
    """The words of every kind in every language."""
    who = access.office(request)
    own = set(NoticeText.objects.values_list("kind", "language"))
    rows = []
    for kind in NoticeKind:
        texts = [(code, name, (kind.value, code) in own) for code, name in settings.LANGUAGES]
        rows.append((kind.value, kind.label, texts))
    return render(request, "scheduling/notice_words.html", {"rows": rows, "may_change": who.is_manager})


def notice_text(request: HttpRequest) -> HttpResponse:
    """The text of ?kind= and ?language= with its preview; kept, or given up for the program's own words."""
    who = access.manager(request)
    kind, language = _asked(request)
    words = _words(kind, language)
    form = WordsForm(request.POST or None, initial={"subject": words.subject, "body": words.body})
    action = request.POST.get("action", "")
    if request.method == "POST" and action == "usual":
        words_usual(kind, language, by=who)
        messages.success(request, _("The program's own words are used again."))
        return redirect(_address(kind, language))
    if request.method == "POST" and form.is_valid():
        try:
            words = words_checked(form.cleaned_data["subject"], form.cleaned_data["body"])
            if action == "keep":
                words_keep(kind, language, words, by=who)
                messages.success(request, _("Kept; the next mails are written so."))
                return redirect(_address(kind, language))
        except ValidationError as refused:
            service_errors(form, refused)
    shown = {
        "form": form,
        "kind": kind,
        "label": NoticeKind(kind).label,
        "language": language,
        "language_name": dict(settings.LANGUAGES)[language],
        "own": NoticeText.objects.filter(kind=kind, language=language).exists(),
        "preview": _preview(who, words, kind, language),
        "placeholders": [(f"{{{name}}}", words, name in IN_SUBJECT) for name, words in PLACEHOLDERS.items()],
    }
    return render(request, "scheduling/notice_text.html", shown, status=422 if form.errors else 200)


@require_safe
def notice_text_html(request: HttpRequest) -> HttpResponse:
    """The kept words as an HTML mail."""
    who = access.office(request)
    kind, language = _asked(request)
    return html_answer(_preview(who, _words(kind, language), kind, language).html)


def _asked(request: HttpRequest) -> tuple[str, str]:
    kind, language = request.GET.get("kind", NoticeKind.MOVED.value), request.GET.get("language", "en")
    if kind not in NoticeKind.values or language not in dict(settings.LANGUAGES):
        raise Http404
    return kind, language


def _address(kind: str, language: str) -> str:
    return f"{reverse('notice-text')}?{urlencode({'kind': kind, 'language': language})}"


def _words(kind: str, language: str) -> Words:
    with translation.override(language):
        return words_of(kind, language)


def _preview(who: Membership, words: Words, kind: str, language: str) -> Preview:
    today = clock.now().astimezone(who.contractor.tz).date()
    return preview(words, kind, language, who.contractor, Firm.objects.get(), today)
