from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from jobs.models import Job
from shared import clock
from shared.models.outgoing import Outgoing
from shared.tenancy.models import TenantForeignKey, TenantModel


class NoticeKind(models.TextChoices):
    FILL_TOMORROW = "fill_tomorrow", _("filling starts tomorrow")
    FILLING = "filling", _("filling now")
    BE_THERE = "be_there", _("be there when the pool is full")
    MOVED = "moved", _("a date has moved")
    DOUBT = "doubt", _("plaster day in doubt")
    WATER_TEST = "water_test", _("water test due")
    DUTIES = "duties", _("what the pool owner has to do")
    DIGEST = "digest", _("the day at a glance")


class ReceiverKind(models.TextChoices):
    POOL_OWNER = "pool_owner", _("pool owner")
    MEMBER = "member", _("member")


class NoticeState(models.TextChoices):
    WAITING = "waiting", _("waiting")
    MAILED = "mailed", _("in a mail")
    SKIPPED = "skipped", _("not sent")


class Receiver(TenantModel):
    """Somebody who gets notices, and how they want them. The address is that of the pool owner or the member."""

    kind = models.CharField(max_length=12, choices=ReceiverKind.choices)
    subject_id = models.UUIDField(help_text="The pool owner or the membership.")
    wishes = models.JSONField(default=dict, help_text="Kinds that were chosen or refused; absent: as is usual.")
    free_from_min = models.PositiveSmallIntegerField(default=21 * 60, help_text="Mail-free from this minute.")
    free_until_min = models.PositiveSmallIntegerField(default=7 * 60, help_text="Mail-free until this minute.")
    zone = models.CharField(max_length=64, blank=True, help_text="Empty: the zone of the site or of the firm.")
    refused_address = models.EmailField(blank=True, help_text="The address that a mail server refused for good.")
    refused_at = models.DateTimeField(null=True)
    refused_answer = models.CharField(max_length=300, blank=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "kind", "subject_id"], name="scheduling_receiver_once"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.subject_id}"


class Mail(Outgoing, TenantModel):
    """One e-mail with one or more notices of a kind, as it was written and as the mail server answered."""

    receiver = TenantForeignKey(Receiver, on_delete=models.PROTECT, related_name="mails")
    kind = models.CharField(max_length=16, choices=NoticeKind.choices)
    to = models.EmailField()
    name = models.CharField(max_length=120, blank=True)
    language = models.CharField(max_length=8, default="en")
    subject = models.CharField(max_length=240)
    text = models.TextField()
    html = models.TextField()
    message_id = models.CharField(max_length=120)
    why = models.CharField(max_length=240, blank=True, help_text="Why it was not sent.")

    class Meta(TenantModel.Meta):
        abstract = False
        indexes = [
            models.Index(fields=["contractor", "state", "next_try_at"], name="scheduling_mail_next"),
            models.Index(fields=["contractor", "-made_at"], name="scheduling_mail_made"),
        ]

    def __str__(self) -> str:
        return self.subject


class Notice(TenantModel):
    """One thing that one receiver has to be told once: the natural key is (kind, subject, receiver, cause)."""

    kind = models.CharField(max_length=16, choices=NoticeKind.choices)
    subject_id = models.UUIDField(help_text="The job, or the firm.")
    job = TenantForeignKey(Job, on_delete=models.CASCADE, related_name="notices", null=True)
    receiver = TenantForeignKey(Receiver, on_delete=models.PROTECT, related_name="notices")
    cause = models.CharField(max_length=120)
    facts = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=NoticeState.choices, default=NoticeState.WAITING)
    why = models.CharField(max_length=240, blank=True, help_text="Why it was not sent.")
    made_at = models.DateTimeField(default=clock.now)
    due_at = models.DateTimeField()
    void_after = models.DateTimeField(help_text="Nobody needs it later than this.")
    mail = TenantForeignKey(Mail, on_delete=models.PROTECT, related_name="notices", null=True)

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(
                fields=["contractor", "kind", "subject_id", "receiver", "cause"], name="scheduling_notice_once"
            ),
        ]
        indexes = [
            models.Index(fields=["contractor", "state", "due_at"], name="scheduling_notice_due"),
            models.Index(fields=["contractor", "job", "made_at"], name="scheduling_notice_job"),
            models.Index(fields=["contractor", "mail"], name="scheduling_notice_mail"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.cause})"


class NoticeText(TenantModel):
    """A firm's own words for one kind of notice in one language; absent: the words of the program."""

    kind = models.CharField(max_length=16, choices=NoticeKind.choices)
    language = models.CharField(max_length=8)
    subject = models.CharField(max_length=160)
    body = models.TextField()

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [
            models.UniqueConstraint(fields=["contractor", "kind", "language"], name="scheduling_noticetext_once"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.language})"


class NoticeWatch(TenantModel):
    """Until when it was looked what has to be told. Nothing before the first look is told afterwards."""

    looked_at = models.DateTimeField()

    class Meta(TenantModel.Meta):
        abstract = False
        constraints = [models.UniqueConstraint(fields=["contractor"], name="scheduling_noticewatch_once")]

    def __str__(self) -> str:
        return f"looked at {self.looked_at:%Y-%m-%d %H:%M}"
