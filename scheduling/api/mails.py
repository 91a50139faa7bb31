"""Mails as they were written, who gets which notice, and addresses that a mail server refused."""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from scheduling.models import Mail, NoticeKind, Receiver, ReceiverKind
from scheduling.selectors.notices_page import receiver_keys
from scheduling.selectors.receivers import OFFERED, Addressee, addressees
from scheduling.services.mails import mail_again
from scheduling.services.receivers import address_try_again, member_key, receivers_of, wishes_set
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Text, Whole, Yes
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.api.problems import Conflict
from shared.models import OutgoingState
from shared.models.contractor import known_zone
from shared.scopes import OFFICE, ON_SITE


class MailRow(serializers.ModelSerializer[Mail]):
    receiver = serializers.UUIDField(source="receiver_id")

    class Meta:
        model = Mail
        fields = ("id", "receiver", "kind", "state", "to", "name", "language", "subject", "why", "made_at",
                  "next_try_at", "attempts", "repeats", "done_at", "code", "answer")  # fmt: skip


class WholeMailRow(MailRow):
    """A mail with its text, as it was written."""

    class Meta:
        model = Mail
        fields = (*MailRow.Meta.fields, "text", "html", "message_id")


class MailsAsked(Paged):
    receiver = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=NoticeKind.choices, required=False)
    state = serializers.MultipleChoiceField(choices=OutgoingState.choices, required=False)
    made_from = serializers.DateTimeField(required=False)
    made_to = serializers.DateTimeField(required=False)


class Mails(Endpoint):
    may = {"GET": OFFICE}

    @operation("mails_list", "Mails: waiting, sent, failed, not sent", gives=MailRow, many=True, filters=MailsAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, MailsAsked)
        plain = {
            "receiver": "receiver_id",
            "kind": "kind",
            "state": "state__in",
            "made_from": "made_at__gte",
            "made_to": "made_at__lte",
        }
        found = Mail.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found.defer("text", "html"), wanted, MailRow)


class OneMail(Endpoint):
    may = {"GET": OFFICE}

    @operation("mail_show", "One mail as it was written", gives=WholeMailRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, WholeMailRow(self.own(Mail, pk)).data)


class MailAgain(Endpoint):
    may = {"POST": OFFICE}

    @operation("mail_again", "Try a failed mail again", gives=WholeMailRow, match=False)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.own(Mail, pk, "receiver", lock=True)
        matched(request, WholeMailRow(found).data, needed=False)
        if not mail_again(found, by=self.who):
            raise Conflict("Only a mail that failed can be tried again.")
        return shown(request, WholeMailRow(self.own(Mail, pk)).data)


class ReceiverRow(serializers.ModelSerializer[Receiver]):
    """A pool owner or member who gets notices."""

    class Meta:
        model = Receiver
        fields = ("id", "kind", "subject_id", "free_from_min", "free_until_min", "zone", "refused_address",
                  "refused_at", "refused_answer")  # fmt: skip


class WishesRow(serializers.Serializer[Any]):
    """What a receiver gets of what is offered, at which address, and the mail-free hours."""

    id = serializers.UUIDField()
    role = serializers.CharField()
    name = serializers.CharField()
    email = serializers.CharField()
    language = serializers.CharField()
    gone = serializers.BooleanField(help_text="Wants nothing, or belongs to the firm no more.")
    refused = serializers.BooleanField(help_text="A mail server refused this very address.")
    wishes = serializers.DictField(child=serializers.BooleanField())
    free_from_min = serializers.IntegerField()
    free_until_min = serializers.IntegerField()
    zone = serializers.CharField()


class WishesBody(In):
    """Kinds by name, and the minutes of the day between which no mail comes; twice the same: at any hour."""

    EXAMPLE = {"wishes": {"moved": True}, "free_from_min": 1260, "free_until_min": 420}

    wishes = serializers.DictField(child=Yes(), required=False)
    free_from_min = Whole(low=0, high=1439, required=False)
    free_until_min = Whole(low=0, high=1439, required=False)
    zone = Text(required=False, allow_blank=True, max_length=64, validators=[known_zone])


class OfReceivers(Endpoint):
    def addressee(self, row: Receiver) -> Addressee:
        found = addressees(self.contractor, [row]).get(row.pk)
        if found is None:
            raise Http404
        return found

    def row(self, who: Addressee) -> Any:
        kept = who.receiver
        names = ("role", "name", "email", "language", "gone", "refused")
        said = {name: getattr(who, name) for name in names}
        wishes = {str(kind): who.wants(kind) for kind in OFFERED[who.role]}
        hours = {"free_from_min": kept.free_from_min, "free_until_min": kept.free_until_min, "zone": kept.zone}
        return WishesRow({"id": kept.pk, **said, "wishes": wishes, **hours}).data

    def changed(self, request: Request, row: Receiver) -> Response:
        kept = Receiver.objects.select_for_update(no_key=True).get(pk=row.pk)
        who = self.addressee(kept)
        matched(request, self.row(who))
        wishes_set(who, by=self.who, **{"wishes": {}, **read(request, WishesBody)})
        return shown(request, self.row(self.addressee(Receiver.objects.get(pk=row.pk))))


class ReceiversAsked(Paged):
    kind = serializers.ChoiceField(choices=ReceiverKind.choices, required=False)


class Receivers(Endpoint):
    may = {"GET": OFFICE}

    @operation("receivers_list", "Who gets notices: pool owners of open jobs, members", gives=ReceiverRow, many=True,
               filters=ReceiversAsked)  # fmt: skip
    def get(self, request: Request) -> Response:
        wanted = asked(request, ReceiversAsked)
        rows = receivers_of(receiver_keys())
        found = Receiver.objects.filter(pk__in=[row.pk for row in rows.values()])
        return page(found.filter(kind=wanted["kind"]) if "kind" in wanted else found, wanted, ReceiverRow)


class OneReceiver(OfReceivers):
    may = {"GET": OFFICE, "PUT": OFFICE}

    @operation("wishes_show", "What a receiver gets", gives=WishesRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, self.row(self.addressee(self.own(Receiver, pk))))

    @operation(
        "wishes_set", "Choose for a receiver; what is missing stays", takes=WishesBody, gives=WishesRow, match=True
    )
    def put(self, request: Request, pk: uuid.UUID) -> Response:
        return self.changed(request, self.own(Receiver, pk))


class ReceiverAgain(Endpoint):
    may = {"POST": OFFICE}

    @operation("address_again", "The address is good after all", gives=ReceiverRow)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        address_try_again(self.own(Receiver, pk, lock=True), by=self.who)
        return shown(request, ReceiverRow(self.own(Receiver, pk)).data)


class MyWishes(OfReceivers):
    may = {"GET": ON_SITE, "PUT": ON_SITE}

    @operation("my_wishes_show", "What one gets oneself", gives=WishesRow)
    def get(self, request: Request) -> Response:
        return shown(request, self.row(self.addressee(self._mine())))

    @operation(
        "my_wishes_set", "Choose for oneself; what is missing stays", takes=WishesBody, gives=WishesRow, match=True
    )
    def put(self, request: Request) -> Response:
        return self.changed(request, self._mine())

    def _mine(self) -> Receiver:
        key = member_key(self.who.pk)
        return receivers_of([key])[key]
