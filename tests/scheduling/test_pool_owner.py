import datetime as dt
import re

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from jobs.models import ExpectedDates, Job, JobState, PoolOwner
from jobs.services.states import job_move
from scheduling.selectors.pool_owner import likeliest
from shared import clock
from shared.models import AccessToken, AuditEntry, Firm, TokenKind
from shared.services.tokens import token_for, token_revoke, token_rotate
from shared.tenancy.context import acting_for
from tests.cast import expect, issue, open_job
from tests.scheduling.on_site import TODAY, at, job_under_way, on_day, set_state, stint_at


def _secret(cast, job) -> str:
    with acting_for(cast.own.contractor.pk):
        return token_for(TokenKind.LINK, "pool_owner", job.pk).secret


def _get(client, cast, job):
    return client.get(reverse("pool-owner", args=[_secret(cast, job)]))


def _text(answer) -> str:
    assert answer.status_code == 200
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.fixture
def promised(cast) -> Job:
    """Promised for 26 April; even chance by the 25th, nine in ten by the 29th; prep, plaster and fill are issued."""
    with on_day(6):
        job = job_under_way(cast.own)
        expect(job, cast.own)
        set_state(job, cast.own, promised_date=dt.date(2026, 4, 26))
        stint_at(job, cast.own, "prep", at(8, dt.date(2026, 4, 20)), at(15, dt.date(2026, 4, 21)))
        stint_at(job, cast.own, "plaster", at(7, dt.date(2026, 4, 23)), at(15, dt.date(2026, 4, 23)))
        stint_at(job, cast.own, "fill_start", at(10, dt.date(2026, 4, 24)), at(11, dt.date(2026, 4, 24)))
        stint_at(job, cast.own, "fill_end", at(7, dt.date(2026, 4, 25)), at(11, dt.date(2026, 4, 25)))
    return job


def test_the_fill_day_is_told_with_its_band_in_words(cast, promised, client):
    """The cast's band gives the 24th three chances in ten and every later day fewer; nine in ten lie by the 29th."""
    with on_day(8):
        text = _text(_get(client, cast, promised))
    assert "Your pool will be full most likely on Friday 24 April, nine chances in ten by Wednesday 29 April." in text
    assert "We promised you Sunday 26 April." in text
    assert "By today&#x27;s plan filling starts on Friday 24 April at 10:00 am; it does not stop until" in text


def test_what_happens_when_is_told_without_crews_or_hours(cast, promised, client):
    with on_day(8):
        text = _text(_get(client, cast, promised))
    assert "The old surface comes off from Monday 20 April to Tuesday 21 April; that is loud." in text
    assert "The new plaster goes on on Thursday 23 April, all in one day." in text
    for private in ("crew", "8:00", "office@", "$"):
        assert private not in text, private


def test_nothing_of_other_jobs_is_there(cast, promised, client):
    with on_day(8):
        other = open_job(cast.own, label="Another site")
        text = _text(_get(client, cast, promised))
    assert other.site.label not in text and other.pool_owner.name not in text


def test_dates_of_do_and_do_not_are_counted_from_the_fill_day(cast, promised, client):
    with on_day(8):
        text = _text(_get(client, cast, promised))
    assert "Counted from Saturday 25 April, the fill day of today's plan and of your calendar; every date" in text
    wait = "Not before this day, and only when we tell you that the water is ready:"
    for said in (
        "Sunday 26 April, day 1 The whole surface is brushed twice a day",
        f"Monday 27 April, day 2 {wait} chlorine",
        f"Saturday 2 May, day 7 {wait} the heater and swim",
        f"Saturday 9 May, day 14 {wait} a cleaner on wheels",
        f"Saturday 23 May, day 28 {wait} salt",
        "End of the start-up: we hand the water over to you.",
    ):
        assert said in text, said


def test_people_are_kept_away_from_an_empty_and_a_filling_pool(cast, promised, client):
    with on_day(8):
        text = _text(_get(client, cast, promised))
    assert "keep them away, and the barrier shut" in text
    assert "Acid and chlorine must never meet" in text
    assert "safe" not in text.lower()


def test_the_page_is_private(cast, promised, client):
    with on_day(8):
        answer = _get(client, cast, promised)
    assert answer.headers["Cache-Control"] == "private, no-store"
    assert "noindex" in answer.headers["X-Robots-Tag"]
    assert answer.headers["Referrer-Policy"] == "no-referrer"
    assert b'<meta name="robots" content="noindex' in answer.content
    assert b"http://" not in answer.content.replace(b"http://127.0.0.1:8000", b"").replace(b"http://www.w3.org", b"")


def test_unknown_revoked_and_replaced_links_open_nothing(cast, promised, client):
    assert client.get(reverse("pool-owner", args=["nonsense"])).status_code == 404
    with acting_for(cast.own.contractor.pk):
        token = token_for(TokenKind.LINK, "pool_owner", promised.pk)
        before = token.secret
        token_rotate(token)
    assert client.get(reverse("pool-owner", args=[before])).status_code == 404
    with on_day(8):
        assert client.get(reverse("pool-owner", args=[token.secret])).status_code == 200
        with acting_for(cast.own.contractor.pk):
            token_revoke(token)
        assert client.get(reverse("pool-owner", args=[token.secret])).status_code == 404
        answer = client.post(reverse("pool-owner-answer", args=[token.secret]), {"answer": "home"})
        assert answer.status_code == 404


def test_a_calendar_link_does_not_open_the_page(cast, promised, client):
    with acting_for(cast.own.contractor.pk):
        feed = token_for(TokenKind.FEED, "pool_owner", promised.pk).secret
    assert client.get(reverse("pool-owner", args=[feed])).status_code == 404


def test_the_calendar_link_opens_the_calendar_of_this_pool(cast, client):
    with on_day(8):
        job = open_job(cast.own)
        expect(job, cast.own)
        issue(cast.own)
        with acting_for(cast.own.contractor.pk):
            full = job.stints.get(stage="fill_end").starts.astimezone(job.site.tz)
        page = _get(client, cast, job).content.decode()
        path = re.search(r'href="https?://[^/"]+(/feeds/[^"]+\.ics)"', page)
        assert path and 'href="webcal://' in page and "<svg" in page
        feed = client.get(path[1])
    assert feed.status_code == 200 and feed.content.count(b"SUMMARY:Pool full") == 1
    assert f"DTSTART;VALUE=DATE:{full:%Y%m%d}".encode() in feed.content


@pytest.mark.parametrize(
    ("word", "home", "said"), [("home", True, "Someone will be there"), ("ring", False, "Please ring me")]
)
def test_one_of_two_sentences_is_kept_on_the_job(cast, promised, client, word, home, said):
    secret = _secret(cast, promised)
    with on_day(8):
        answer = client.post(reverse("pool-owner-answer", args=[secret]), {"answer": word})
        assert answer.status_code == 302 and answer.headers["Referrer-Policy"] == "no-referrer"
        assert f"You told us: “{said}”." in _text(client.get(reverse("pool-owner", args=[secret])))
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=promised.pk).someone_home is home
        assert AuditEntry.objects.filter(what="answer for the fill day", who="pool owner").count() == 1


def test_answering_works_from_a_browser_that_sends_no_token(cast, promised):
    """The page sends no referrer, so a browser posts with the origin "null"."""
    strict = Client(enforce_csrf_checks=True)
    with on_day(8):
        answer = strict.post(
            reverse("pool-owner-answer", args=[_secret(cast, promised)]), {"answer": "home"}, headers={"Origin": "null"}
        )
    assert answer.status_code == 302


def test_another_sentence_is_refused_and_nothing_kept(cast, promised, client):
    with on_day(8):
        for word in ("", "maybe"):
            answer = client.post(reverse("pool-owner-answer", args=[_secret(cast, promised)]), {"answer": word})
            assert answer.status_code == 400
    with acting_for(cast.own.contractor.pk):
        assert Job.objects.get(pk=promised.pk).someone_home is None


def test_while_it_fills_the_hour_is_told(cast, promised, client):
    with on_day(12):
        set_state(promised, cast.own, state=JobState.FILLING)
        with acting_for(cast.own.contractor.pk):
            promised.stints.filter(stage="fill_start").update(begun_at=at(6), done_at=at(6), state="done")
        text = _text(_get(client, cast, promised))
    assert re.search(r"Your pool is filling\. It will be full most likely at \d+:\d\d [ap]m on \w+ \d+ April", text)
    assert "nine chances in ten by" in text and "Filling began on Wednesday 15 April at 6:00 am." in text


def test_after_the_fill_the_dates_are_certain(cast, promised, client):
    set_state(promised, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY)
    with on_day(8, TODAY + dt.timedelta(days=2)):
        text = _text(_get(client, cast, promised))
    assert "Your pool was full on Wednesday 15 April." in text
    assert "every date moves" not in text and "Someone will be there" not in text
    assert "Wednesday 22 April, day 7" in text


@pytest.mark.parametrize(
    ("state", "said", "unsaid"),
    [
        ("surveyed", "No day is set yet.", "What to do and not to do"),
        ("finished", "the water is yours", "What to do and not to do"),
        ("called_off", "This job is called off.", "What happens when"),
    ],
)
def test_each_state_says_only_what_it_knows(cast, client, state, said, unsaid):
    with on_day(8):
        job = open_job(cast.own, agreed=state != "surveyed")
        set_state(job, cast.own, state=state, filled_on=TODAY if state == "finished" else None)
        text = _text(_get(client, cast, job))
    assert said in text and unsaid not in text


def test_a_date_beyond_what_is_looked_at_is_not_invented(cast, promised, client):
    with acting_for(cast.own.contractor.pk):
        row = ExpectedDates.objects.get(job=promised)
        row.band = {**row.band, "p50": None, "p80": None, "p90": None}
        row.save()
    with on_day(8):
        assert "The fill day cannot be told yet" in _text(_get(client, cast, promised))
    assert likeliest({}) is None


def test_the_likeliest_day_is_the_one_with_the_largest_chance_of_its_own():
    chances = [["2026-04-20", 0.1], ["2026-04-21", 0.15], ["2026-04-22", 0.55], ["2026-04-23", 0.9]]
    assert likeliest({"p50": "2026-04-22", "chance_by": chances}) == dt.date(2026, 4, 22)


def test_a_pool_owner_who_reads_spanish_reads_spanish(cast, promised, client):
    with acting_for(cast.own.contractor.pk):
        PoolOwner.objects.update(language="es")
    with on_day(8):
        answer = _get(client, cast, promised)
        text = _text(answer)
    assert b'<html lang="es">' in answer.content
    assert "viernes 24 de abril" in text and "nueve de cada diez" in text
    assert "Habrá alguien" in text


def test_the_firms_own_words_and_number_are_there(cast, promised, client):
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(phone="555 0142", words={"pool_owner": "Our finishers love this job."})
    with on_day(8):
        answer = _get(client, cast, promised)
    assert "Our finishers love this job." in _text(answer)
    assert b'href="tel:5550142"' in answer.content


def test_the_link_ends_by_itself_sixty_days_after_the_job(cast, client):
    with on_day(8):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY - dt.timedelta(days=28))
        address = reverse("pool-owner", args=[_secret(cast, job)])
        with acting_for(cast.own.contractor.pk):
            feed = reverse("feed", args=[token_for(TokenKind.FEED, "pool_owner", job.pk).secret])
            assert AccessToken.objects.get(kind="link").expires_at is None
            job_move(job, JobState.FINISHED, by=cast.own.office)
        assert "This page can be read until Sunday 14 June." in _text(client.get(address))
    with on_day(8, TODAY + dt.timedelta(days=59)):
        assert client.get(address).status_code == 200 and client.get(feed).status_code == 200
    with on_day(9, TODAY + dt.timedelta(days=60)):
        assert client.get(address).status_code == 404 and client.get(feed).status_code == 404


def test_a_job_that_is_called_off_ends_its_links_too(cast):
    with on_day(8):
        job = job_under_way(cast.own)
        _secret(cast, job)
        with acting_for(cast.own.contractor.pk):
            job_move(job, JobState.CALLED_OFF, by=cast.own.office)
            assert AccessToken.objects.get(kind="link").expires_at == clock.now() + dt.timedelta(days=60)


def test_no_address_of_the_page_leaks_to_anybody(cast, promised, client):
    """Only the hash is kept; no referrer, no cache, no search; nothing on the page points to another site."""
    with on_day(8):
        answer = _get(client, cast, promised)
    secret = _secret(cast, promised)
    with acting_for(cast.own.contractor.pk):
        kept = AccessToken.objects.get(kind="link")
        assert secret not in {str(value) for value in vars(kept).values()} and len(kept.token_hash) == 64
    assert answer["Referrer-Policy"] == "no-referrer" and answer["Cache-Control"] == "private, no-store"
    assert answer["X-Robots-Tag"] == "noindex, nofollow"
    page = answer.content.decode()
    outside = [each for each in re.findall(r'(?:href|src|action)="([^"]+)"', page) if "://" in each]
    assert all(each.split("://")[1].startswith(settings.SITE_URL.split("://")[1]) for each in outside), outside
    assert "<script" not in page


def test_the_firms_own_words_come_in_the_pool_owners_language(cast, promised, client):
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(
            words={
                "pool_owner": {"en": "Rosa is your contact.", "es": "Rosa es su contacto."},
                "pool_owner_month": {"es": "Llame a Rosa antes de nadar."},
            }
        )
        PoolOwner.objects.update(language="es")
    with on_day(8):
        text = _text(_get(client, cast, promised))
    assert "Rosa es su contacto." in text and "Llame a Rosa antes de nadar." in text and "your contact" not in text


def test_dates_of_the_month_follow_the_firms_own_figures(cast, client):
    with acting_for(cast.own.contractor.pk):
        Firm.objects.update(start_up={"days": {"swimming": 14}, "brush_until_day": 10})
    with on_day(8):
        job = job_under_way(cast.own)
        set_state(job, cast.own, state=JobState.FIRST_MONTH, filled_on=TODAY)
        text = _text(_get(client, cast, job))
    assert "until day 10" in text
    swimming = text.index("swimming")
    assert "day 14" in text[max(0, swimming - 140) : swimming]
