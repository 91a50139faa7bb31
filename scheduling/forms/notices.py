"""Forms of notices: wishes of a receiver, the firm's own words, addresses of hooks."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from scheduling.models import HookEvent, NoticeKind
from scheduling.notice_texts import BODY_LENGTH, SUBJECT_LENGTH
from scheduling.selectors.receivers import OFFERED, Addressee
from scheduling.services.hooks import CHOSEN
from shared.models.contractor import known_zone

CLOCK = "%H:%M"


class WishesForm(forms.Form):
    """A box for each kind that is offered to this receiver, and the mail-free hours."""

    free_from = forms.TimeField(label=_l("No mails from"), input_formats=[CLOCK, "%H:%M:%S"])
    free_until = forms.TimeField(
        label=_l("until"), input_formats=[CLOCK, "%H:%M:%S"], help_text=_l("Twice the same time: at any hour.")
    )
    zone = forms.CharField(
        label=_l("Time zone"),
        required=False,
        max_length=64,
        validators=[known_zone],
        help_text=_l("An IANA name such as America/New_York; empty: the zone of the site or of the firm."),
    )

    def __init__(self, who: Addressee, data: Any = None) -> None:
        receiver = who.receiver
        initial = {"free_from": _clock(receiver.free_from_min), "free_until": _clock(receiver.free_until_min)}
        super().__init__(data, initial=initial | {"zone": receiver.zone})
        for name in ("free_from", "free_until"):
            self.fields[name].widget = forms.TimeInput(attrs={"type": "time"}, format=CLOCK)
        self.kinds = [str(kind) for kind in OFFERED[who.role]]
        boxes = {
            kind: forms.BooleanField(label=NoticeKind(kind).label, required=False, initial=who.wants(kind))
            for kind in self.kinds
        }
        self.fields = {**boxes, **self.fields}

    @property
    def boxes(self) -> list[forms.BoundField]:
        return [self[kind] for kind in self.kinds]

    @property
    def wanted(self) -> dict[str, Any]:
        """Arguments of `wishes_set`."""
        said = self.cleaned_data
        return {
            "wishes": {kind: bool(said[kind]) for kind in self.kinds},
            "free_from_min": said["free_from"].hour * 60 + said["free_from"].minute,
            "free_until_min": said["free_until"].hour * 60 + said["free_until"].minute,
            "zone": said["zone"],
        }


def _clock(minute: int) -> str:
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


class WordsForm(forms.Form):
    """Subject and body; what is allowed in them is checked by `words_checked`."""

    subject = forms.CharField(label=_l("Subject"), required=False, max_length=2 * SUBJECT_LENGTH)
    body = forms.CharField(
        label=_l("Text"), required=False, max_length=2 * BODY_LENGTH, widget=forms.Textarea(attrs={"rows": 14})
    )


class HookForm(forms.Form):
    """An address and its events."""

    url = forms.CharField(
        label=_l("Address"),
        max_length=400,
        widget=forms.URLInput(attrs={"placeholder": "https://", "inputmode": "url"}),
        help_text=_l("Begins with https:// and names a public computer."),
    )
    events = forms.MultipleChoiceField(
        label=_l("Tell it when"),
        choices=[(event.value, HookEvent(event).label) for event in CHOSEN],
        widget=forms.CheckboxSelectMultiple,
    )

    def clean_url(self) -> str:
        url: str = self.cleaned_data["url"]
        if not url.isprintable():
            raise forms.ValidationError(_("The address must hold no control characters."))
        return url.strip()
