"""What receivers choose: by the link in a mail, on their own page, or through the office; the screens of notices."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from jobs.models import Job, PoolOwner
from scheduling.models import Mail, NoticeText, Receiver
from scheduling.selectors.receivers import Addressee, addressees
from scheduling.services.receivers import address_refused, receivers_of
from shared import clock
from shared.models import AuditEntry, TokenKind
from shared.services.tokens import token_for, token_revoke
from shared.tenancy.context import acting_for
from tests.cast import Cast, a_notice_and_a_hook, client_of, open_job


@pytest.fixture
def job(cast: Cast) -> Job:
    return open_job(cast.own)


def receiver_of(cast: Cast, kind: str, pk) -> Addressee:
    with acting_for(cast.own.contractor.pk):
        row = receivers_of([(kind, pk)])[(kind, pk)]
        return addressees(cast.own.contractor, [row])[row.pk]


def secret_of(cast: Cast, who: Addressee) -> str:
    with acting_for(cast.own.contractor.pk):
        return token_for(TokenKind.LINK, "notices", who.receiver.pk).secret


def test_one_click_stops_at_once_without_login_cookie_or_token(cast: Cast, job: Job):
    """RFC 8058, section 3.2: a POST with the body List-Unsubscribe=One-Click, no cookies, and no redirect."""
    who = receiver_of(cast, "pool_owner", job.pool_owner_id)
    address = f"{reverse('notices-stop', args=[secret_of(cast, who)])}?kind=moved"
    strict = Client(enforce_csrf_checks=True)
    assert "Stop these mails" in strict.get(address).content.decode()  # opening the address stops nothing
    with acting_for(cast.own.contractor.pk):
        assert PoolOwner.objects.get().wants_notices
    answer = strict.post(address, "List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 200
    assert not answer.cookies
    with acting_for(cast.own.contractor.pk):
        assert not PoolOwner.objects.get().wants_notices
        assert AuditEntry.objects.filter(what="notices stopped").exists()


def test_a_member_stops_the_kind_of_the_mail_alone(cast: Cast):
    who = receiver_of(cast, "member", cast.own.manager.pk)
    Client().post(f"{reverse('notices-stop', args=[secret_of(cast, who)])}?kind=digest")
    after = receiver_of(cast, "member", cast.own.manager.pk)
    assert not after.wants("digest")
    assert after.wants("moved")


def test_a_pool_owner_chooses_by_the_link_and_comes_back_by_choosing(cast: Cast, job: Job):
    who = receiver_of(cast, "pool_owner", job.pool_owner_id)
    page = reverse("notices-wishes", args=[secret_of(cast, who)])
    stop = reverse("notices-stop", args=[secret_of(cast, who)])
    assert f'href="{stop}"' in Client().get(page).content.decode()
    Client().post(stop)
    said = {"moved": "on", "free_from": "20:30", "free_until": "08:00", "zone": ""}
    answer = Client().post(page, said)
    assert answer.status_code == 200
    assert "Kept." in answer.content.decode()
    after = receiver_of(cast, "pool_owner", job.pool_owner_id)
    assert [kind for kind in ("moved", "filling", "duties") if after.wants(kind)] == ["moved"]
    assert (after.receiver.free_from_min, after.receiver.free_until_min) == (1230, 480)


def test_what_cannot_be_kept_is_said_and_what_was_typed_stays(cast: Cast):
    client = client_of(cast.own.office)
    said = {"digest": "on", "free_from": "25:00", "free_until": "07:00", "zone": "Mars/Olympus"}
    answer = client.post(reverse("my-notices"), said)
    html = answer.content.decode()
    assert answer.status_code == 422
    assert "Mars/Olympus" in html
    assert "is not a time zone" in html
    assert 'value="25:00"' in html


def test_links_of_mails_and_of_pools_do_not_open_each_other_and_end_when_revoked(cast: Cast, job: Job):
    who = receiver_of(cast, "pool_owner", job.pool_owner_id)
    secret = secret_of(cast, who)
    with acting_for(cast.own.contractor.pk):
        pool = token_for(TokenKind.LINK, "pool_owner", job.pk).secret
    assert Client().get(reverse("notices-wishes", args=[pool])).status_code == 404
    assert Client().get(reverse("pool-owner", args=[secret])).status_code == 404
    with acting_for(cast.own.contractor.pk):
        token_revoke(token_for(TokenKind.LINK, "notices", who.receiver.pk))
    assert Client().post(reverse("notices-stop", args=[secret])).status_code == 404


def test_a_spanish_receiver_chooses_in_spanish(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.update(language="es")
    who = receiver_of(cast, "pool_owner", job.pool_owner_id)
    for page in ("notices-wishes", "notices-stop"):
        html = Client().get(reverse(page, args=[secret_of(cast, who)])).content.decode()
        text = re.sub(r"<[^>]+>", " ", html)
        for english in ("Mails", "Keep", "Stop", "until", "Time zone", "would", "Choose"):
            assert english not in text, (page, english)


def test_the_office_reads_what_was_sent_and_sees_it_as_the_receiver_does(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        mail, _hook = a_notice_and_a_hook(job, clock.now())
        Mail.objects.filter(pk=mail.pk).update(html="<p>It moved.</p><script>alert(1)</script>")
    client = client_of(cast.own.office)
    assert "A date has moved" in client.get(reverse("notices")).content.decode()
    assert "It moved." in client.get(reverse("notice-mail", args=[mail.pk])).content.decode()
    html = client.get(reverse("notice-mail-html", args=[mail.pk]))
    assert "sandbox" in html["Content-Security-Policy"]
    assert "default-src 'none'" in html["Content-Security-Policy"]
    assert "A date has moved" in client.get(reverse("job", args=[job.pk])).content.decode()


def test_a_failed_mail_and_a_refused_address_are_shown_and_can_be_tried_again(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        mail, _hook = a_notice_and_a_hook(job, clock.now())
        Mail.objects.filter(pk=mail.pk).update(state="failed", answer="550 5.1.1 unknown", done_at=clock.now())
        address_refused(mail.receiver_id, "pool.owner@cast.example", "550 5.1.1 unknown")
    client = client_of(cast.own.office)
    assert "550 5.1.1 unknown" in client.get(reverse("notices") + "?show=failed").content.decode()
    assert "Somebody was not told." in client.get(reverse("home")).content.decode()
    assert "550 5.1.1 unknown" in client.get(reverse("receivers")).content.decode()
    assert client.post(reverse("notice-mail-again", args=[mail.pk])).status_code == 302
    assert client.post(reverse("notice-mail-again", args=[mail.pk])).status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert Mail.objects.get().state == "waiting"
        assert Receiver.objects.get(pk=mail.receiver_id).refused_address == ""


def test_a_manager_writes_own_words_looks_at_them_and_gives_them_up(cast: Cast):
    client = client_of(cast.own.manager)
    page = f"{reverse('notice-text')}?kind=duties&language=es"
    words = {"subject": "Noticias de {site}", "body": "Hola {name}\n\n{lines}"}
    looked = client.post(page, {**words, "action": "preview"}).content.decode()
    assert "Noticias de Site 07" in looked
    with acting_for(cast.own.contractor.pk):
        assert not NoticeText.objects.exists()
    client.post(page, {**words, "action": "keep"})
    with acting_for(cast.own.contractor.pk):
        assert NoticeText.objects.get().subject == "Noticias de {site}"
    wrong = client.post(page, {"subject": "{x}", "body": "<b>{lines}</b>", "action": "keep"})
    assert wrong.status_code == 422
    html = wrong.content.decode()
    assert "“{x}” is no placeholder here" in html
    assert "&lt;b&gt;{lines}&lt;/b&gt;" in html
    client.post(page, {"action": "usual"})
    with acting_for(cast.own.contractor.pk):
        assert not NoticeText.objects.exists()
    assert client.get(f"{reverse('notice-text')}?kind=nothing").status_code == 404


@pytest.mark.parametrize(
    "kind", ["fill_tomorrow", "filling", "be_there", "moved", "doubt", "water_test", "duties", "digest"]
)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_kind_has_a_preview_in_both_languages(cast: Cast, kind: str, language: str):
    answer = client_of(cast.own.office).get(f"{reverse('notice-text-html')}?kind={kind}&language={language}")
    html = answer.content.decode()
    assert f'<html lang="{language}">' in html
    assert "{" not in re.sub(r"<[^>]+>", " ", html)


def test_the_screens_ask_a_fixed_number_of_questions(cast: Cast, job: Job):
    with acting_for(cast.own.contractor.pk):
        a_notice_and_a_hook(job, clock.now())
    client = client_of(cast.own.office)
    pages = [f"{reverse('notices')}?show={show}" for show in ("sent", "waiting", "skipped")] + [reverse("receivers")]
    for page in pages:
        client.get(page)
        with CaptureQueriesContext(connection) as few:
            client.get(page)
        for n in range(2, 5):
            more = open_job(cast.own, label=f"Site 0{n}")
            with acting_for(cast.own.contractor.pk):
                NoticeText.objects.all().delete()
                a_notice_and_a_hook(more, clock.now())
        client.get(page)
        with CaptureQueriesContext(connection) as many:
            client.get(page)
        assert len(many) == len(few), page
