"""The form for a firm's own file of weather."""

from __future__ import annotations

from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

from jobs.forms.measures import NumberField

MOST_BYTES: Final = 12 * 1024 * 1024
SHOWN_AGAIN_MOST: Final = 2_000_000  # characters of a refused file that are put into the page for correction


class WeatherFileForm(forms.Form):
    """A name, a place, and hours: as a file or pasted. What was refused can be corrected in the text."""

    name = forms.CharField(label=_l("Name"), max_length=80)
    latitude = NumberField(label=_l("Latitude"), low=-90, high=90, unit="°", decimals=4)
    longitude = NumberField(label=_l("Longitude"), low=-180, high=180, unit="°", decimals=4)
    file = forms.FileField(label=_l("File"), required=False, allow_empty_file=True)
    text = forms.CharField(
        label=_l("Or the text itself"), required=False, strip=False, widget=forms.Textarea(attrs={"rows": 10})
    )

    sent_text = ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        sent, text = cleaned.get("file"), cleaned.get("text") or ""
        if sent is not None:
            if sent.size > MOST_BYTES:
                self.add_error(
                    "file", _("The file has %(mb).1f MB; allowed is at most 12 MB.") % {"mb": sent.size / 1e6}
                )
                return cleaned
            try:
                text = sent.read().decode("utf-8-sig")
            except UnicodeDecodeError as broken:
                said = _("Byte %(place)s of the file is no UTF-8 text; save it as CSV in UTF-8.")
                self.add_error("file", said % {"place": broken.start + 1})
                return cleaned
            cleaned["file_name"] = sent.name
        self.sent_text = text
        if not text.strip() and "file" not in self.errors:
            self.add_error("file", _("Choose a file, or paste its text."))
        if "\x00" in text:
            self.add_error("text", _("The text holds a NUL character; it is no CSV."))
        cleaned["text"] = text
        return cleaned

    def refused(self, error: ValidationError) -> None:
        """Put the sentences of a service beside their fields, and the text back where it can be corrected."""
        for name, sentences in error.message_dict.items():
            for sentence in sentences:
                self.add_error(name if name in self.fields else None, sentence)

    def kept(self) -> WeatherFileForm:
        """The refused form with the text of the file in its text field."""
        text = self.sent_text
        if self.errors and text and len(text) <= SHOWN_AGAIN_MOST and "file" in self.files:
            self.data = {**self.data.dict(), "text": text} if isinstance(self.data, QueryDict) else self.data
        return self
