"""What a mail says and how it travels: the firm's words around the lines of its notices, as text and HTML."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from email.utils import format_datetime, formataddr
from urllib.parse import urlsplit

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from scheduling.models import Mail, Notice, NoticeKind, NoticeState, NoticeText
from scheduling.notice_texts import Footer, Words, html_body, subject_line, text_body, usual_words
from scheduling.selectors.notice_lines import NoLonger, Told, digest_lines, page_of, told
from scheduling.selectors.receivers import Addressee
from scheduling.words import day_words
from shared.models import Contractor, Firm, TokenKind
from shared.services.tokens import token_for


def notices_skip(notices: Iterable[Notice], why: str) -> None:
    Notice.objects.filter(pk__in=[row.pk for row in notices]).update(state=NoticeState.SKIPPED, why=why[:240])


def mail_write(mail: Mail, contractor: Contractor, who: Addressee, notices: Sequence[Notice]) -> list[Notice]:
    """Write subject, text and HTML of what still holds; what does not is skipped. Returns the notices that are said."""
    firm = Firm.objects.get()
    with translation.override(who.language), timezone.override(who.zone):
        said: list[tuple[Notice, Told]] = []
        for notice in _collapsed(notices):
            try:
                said.append((notice, told(notice, who, contractor, firm.units)))
            except NoLonger as overtaken:
                notices_skip([notice], str(overtaken))
        if not said:
            return []
        lines = [line.line for _notice, line in said]
        if mail.kind == NoticeKind.DIGEST:
            lines = digest_lines(said[-1][0], contractor, firm.units)
        words = words_of(mail.kind, who.language)
        first = said[0][1].day
        values = {
            "name": who.name,
            "firm": contractor.name,
            "phone": firm.phone,
            "site": _site_words([notice for notice, _line in said]),
            "day": day_words(first) if first else "",
            "page": _page([notice for notice, _line in said], who),
        }
        footer = footer_of(contractor, who, mail.kind)
        mail.to, mail.name, mail.language = who.email, who.name, who.language
        mail.subject = subject_line(words, values)
        mail.text = text_body(words, lines, values, footer.lines)
        mail.html = html_body(words, lines, values, footer, who.language, mail.subject)
        mail.message_id = f"<{mail.pk}@{urlsplit(settings.SITE_URL).hostname}>"
    return [notice for notice, _line in said]


def _collapsed(notices: Sequence[Notice]) -> list[Notice]:
    """Several moves of one entry are one move from its first to its last place, or none if it is back."""
    kept: list[Notice] = []
    by_entry: dict[str, list[Notice]] = {}
    for notice in notices:
        if notice.kind == NoticeKind.MOVED:
            by_entry.setdefault(notice.facts["entry"], []).append(notice)
        else:
            kept.append(notice)
    for moves in by_entry.values():
        last = moves[-1]
        if moves[0].facts["old"] == last.facts["new"]:
            notices_skip(moves, "moved_back")
            continue
        notices_skip(moves[:-1], "moved_again")
        last.facts = {**last.facts, "old": moves[0].facts["old"]}
        last.save(update_fields=["facts"])
        kept.append(last)
    return kept


def _site_words(notices: Sequence[Notice]) -> str:
    labels = {notice.job.site.label for notice in notices if notice.job is not None}
    if len(labels) == 1:
        return labels.pop()
    return _("%(n)d pools") % {"n": len(labels)} if labels else ""


def _page(notices: Sequence[Notice], who: Addressee) -> str:
    """Of the one job, or the page on which all of them stand."""
    if len({notice.subject_id for notice in notices}) == 1:
        return page_of(notices[0], who)
    name = "weeks" if who.role in ("office", "manager") else "today"
    return "" if who.is_pool_owner else str(settings.SITE_URL + reverse(name))


def words_of(kind: str, language: str) -> Words:
    """The firm's own words in this language, or the program's."""
    own = NoticeText.objects.filter(kind=kind, language=language).first()
    return usual_words(kind) if own is None else Words(own.subject, own.body)


def footer_of(contractor: Contractor, who: Addressee, kind: str) -> Footer:
    why = (
        _("You get this because %(firm)s works on your pool.")
        if who.is_pool_owner
        else _("You get this as a member of %(firm)s.")
    )
    return Footer(why % {"firm": contractor.name}, _("Choose or stop these mails:"), wishes_address(who))


def wishes_address(who: Addressee) -> str:
    """The page on which a receiver chooses, by a private link of their own."""
    token = token_for(TokenKind.LINK, "notices", who.receiver.pk)
    return f"{settings.SITE_URL}{reverse('notices-wishes', args=[token.secret])}"


def message_of(mail: Mail, contractor: Contractor) -> EmailMultiAlternatives:
    """The message: the same bytes each time it is made of the same row (but for the boundary between its parts)."""
    token = token_for(TokenKind.LINK, "notices", mail.receiver_id)
    stop = f"{settings.SITE_URL}{reverse('notices-stop', args=[token.secret])}?kind={mail.kind}"
    message = EmailMultiAlternatives(
        subject=mail.subject,
        body=mail.text,
        from_email=formataddr((contractor.name, _bare(settings.DEFAULT_FROM_EMAIL))),
        to=[formataddr((mail.name, mail.to)) if mail.name else mail.to],
        headers={
            "Message-ID": mail.message_id,
            "Date": format_datetime(mail.made_at),
            "Auto-Submitted": "auto-generated",  # RFC 3834: no machine answers this
            "List-Unsubscribe": f"<{stop}>",  # RFC 2369
            "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",  # RFC 8058
        },
    )
    message.attach_alternative(mail.html, "text/html")
    return message


def _bare(address: str) -> str:
    return address.rpartition("<")[2].rstrip(">").strip()
