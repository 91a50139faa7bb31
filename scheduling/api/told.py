"""Notices that were written, and addresses of other systems that are told of events."""

from __future__ import annotations

import uuid

from django.http import Http404
from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from scheduling.api import bodies, rows
from scheduling.models.hook import Hook, HookCall, HookEvent
from scheduling.models.notice import Notice, NoticeKind, NoticeState
from scheduling.services.hooks import hook_end, hook_make, hook_renew, hook_test
from shared.api.endpoint import Endpoint, operation, read
from shared.api.marks import matched, shown
from shared.api.pages import Paged, asked, page
from shared.models import OutgoingState
from shared.scopes import MANAGER, OFFICE


class NoticesAsked(Paged):
    job = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=NoticeKind.choices, required=False)
    state = serializers.MultipleChoiceField(choices=NoticeState.choices, required=False)
    due_from = serializers.DateTimeField(required=False)
    due_to = serializers.DateTimeField(required=False)


class Notices(Endpoint):
    may = {"GET": OFFICE}

    @operation("notices_list", "Notices", gives=rows.NoticeRow, many=True, filters=NoticesAsked)
    def get(self, request: Request) -> Response:
        wanted = asked(request, NoticesAsked)
        plain = {
            "job": "job_id",
            "kind": "kind",
            "state": "state__in",
            "due_from": "due_at__gte",
            "due_to": "due_at__lte",
        }
        found = Notice.objects.filter(**{plain[name]: wanted[name] for name in plain if wanted.get(name)})
        return page(found, wanted, rows.NoticeRow)


class Hooks(Endpoint):
    may = {"GET": MANAGER, "POST": MANAGER}

    @operation("hooks_list", "Addresses that are told of events", gives=rows.HookRow, many=True, filters=Paged)
    def get(self, request: Request) -> Response:
        return page(Hook.objects.filter(active=True), asked(request, Paged), rows.HookRow)

    @operation(
        "hook_make", "Tell another system of events; `hook_renew` gives its secret",
        takes=bodies.HookBody, gives=rows.HookRow, status=201,
    )  # fmt: skip
    def post(self, request: Request) -> Response:
        made = hook_make(**read(request, bodies.HookBody), by=self.who)
        return shown(request, rows.HookRow(made).data, 201, Location=reverse("api:hook", args=[made.pk]))


class LivingHook(Endpoint):
    def living(self, pk: uuid.UUID, *, lock: bool = False) -> Hook:
        found = self.own(Hook, pk, lock=lock)
        if not found.active:
            raise Http404
        return found


class OneHook(LivingHook):
    may = {"GET": MANAGER, "DELETE": MANAGER}

    @operation("hook_show", "One address", gives=rows.HookRow)
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        return shown(request, rows.HookRow(self.living(pk)).data)

    @operation("hook_end", "Tell it nothing any more", status=204, match=True)
    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.living(pk, lock=True)
        matched(request, rows.HookRow(found).data)
        hook_end(found, by=self.who)
        return Response(status=204)


class HookSecret(LivingHook):
    may = {"POST": MANAGER}

    @operation("hook_renew", "A new secret, shown in this answer only", gives=rows.HookSecretRow, match=False,
               secret=True, tag=False)  # fmt: skip
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        found = self.living(pk, lock=True)
        matched(request, rows.HookRow(found).data, needed=False)
        renewed = hook_renew(found, by=self.who)
        return Response(rows.HookSecretRow({"id": renewed.pk, "secret": renewed.secret}).data)


class CallsAsked(Paged):
    event = serializers.ChoiceField(choices=HookEvent.choices, required=False)
    state = serializers.MultipleChoiceField(choices=OutgoingState.choices, required=False)
    made_from = serializers.DateTimeField(required=False)
    made_to = serializers.DateTimeField(required=False)


class HookCalls(LivingHook):
    may = {"GET": MANAGER}

    @operation("hook_calls_list", "What it was told, and what it answered", gives=rows.HookCallRow, many=True,
               filters=CallsAsked)  # fmt: skip
    def get(self, request: Request, pk: uuid.UUID) -> Response:
        wanted = asked(request, CallsAsked)
        plain = {"event": "event", "state": "state__in", "made_from": "made_at__gte", "made_to": "made_at__lte"}
        found = HookCall.objects.filter(hook=self.living(pk))
        chosen = {plain[name]: wanted[name] for name in plain if wanted.get(name)}
        return page(found.filter(**chosen), wanted, rows.HookCallRow)


class HookTest(LivingHook):
    may = {"POST": MANAGER}

    @operation("hook_test", "Send it a call without an event", status=202)
    def post(self, request: Request, pk: uuid.UUID) -> Response:
        hook_test(self.living(pk), by=self.who)
        return Response(status=202)
