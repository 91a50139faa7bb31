"""One or several photos that are sent at once, with what they show."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as _l

MOST_AT_ONCE = 12


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """A list of files; each is looked at by the service that keeps it."""

    widget = ManyFiles(attrs={"accept": "image/jpeg,image/png,image/webp"})

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile[bytes]]:
        found = [each for each in data or [] if isinstance(each, UploadedFile)]
        if not found:
            raise forms.ValidationError(_("No photo was chosen."))
        if len(found) > MOST_AT_ONCE:
            raise forms.ValidationError(
                _("%(count)s photos were sent at once; allowed are up to %(most)s."),
                params={"count": len(found), "most": MOST_AT_ONCE},
            )
        return found


class PhotosForm(forms.Form):
    photos = FilesField(
        label=_l("Photos"),
        help_text=_l("JPEG, PNG or WebP, up to 12 MB each, up to 12 at once. Where they were taken is not kept."),
    )
    words = forms.CharField(
        label=_l("What they show"), max_length=120, required=False, help_text=_l("Such as “tile line, deep end”.")
    )
