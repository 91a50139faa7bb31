from __future__ import annotations

import uuid
from typing import Final

from django.contrib import messages
from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from scheduling.models import Mail, Receiver
from scheduling.selectors import notices_page
from scheduling.services.mails import mail_again
from scheduling.services.receivers import address_try_again, receivers_of
from shared import access

HTML_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; sandbox; base-uri 'none'; form-action 'none'"


@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """Mails and notices: sent, waiting, failed, not sent and why."""
    who = access.office(request)
    show = request.GET.get("show", notices_page.SENT)
    if show not in dict(notices_page.FILTERS):
        show = notices_page.SENT
    found = notices_page.counts()
    shown = {
        "rows": notices_page.rows_of(who.contractor, show),
        "show": show,
        "filters": [(value, label, found[value]) for value, label in notices_page.FILTERS],
        "most": notices_page.MOST,
    }
    return render(request, "scheduling/notices.html", shown)


@require_safe
def mail(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """One mail as it was written, with what the mail server said."""
    access.office(request)
    found = access.own(Mail, pk, "receiver")
    shown = {"mail": found, "said": notices_page.said_of(found), "may_retry": found.state == "failed"}
    return render(request, "scheduling/notice_mail.html", shown)


@require_safe
def mail_html(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The HTML part, fenced in: no script, no form, nothing fetched."""
    access.office(request)
    return html_answer(access.own(Mail, pk).html)


def html_answer(html: str) -> HttpResponse:
    answer = HttpResponse(html)
    answer["Content-Security-Policy"] = HTML_POLICY
    return answer


@require_POST
def mail_try_again(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """Try a failed mail again."""
    who = access.office(request)
    found = access.own(Mail, pk, "receiver")
    if not mail_again(found, by=who):
        raise BadRequest(_("Only a mail that failed can be tried again."))
    messages.success(request, _("It is tried again within a minute."))
    return redirect("notice-mail", found.pk)


@require_safe
def receivers(request: HttpRequest) -> HttpResponse:
    """Who gets what, at which address, and which addresses were refused."""
    who = access.office(request)
    rows = receivers_of(notices_page.receiver_keys())
    shown = {"wishes": notices_page.wishes_of(who.contractor, list(rows.values()))}
    return render(request, "scheduling/receivers.html", shown)


@require_POST
def receiver_try_again(request: HttpRequest, pk: uuid.UUID) -> HttpResponse:
    """The address is good after all."""
    who = access.office(request)
    receiver = access.own(Receiver, pk)
    address_try_again(receiver, by=who)
    messages.success(request, _("The address is tried again with the next notice."))
    return redirect("receivers")
