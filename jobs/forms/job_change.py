"""Correct what was noted of a job: pool owner, site and work."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _l

from jobs.forms.first_call import FLOW, LATER, PoolOwnerForm, SiteForm, WorkForm
from jobs.forms.measures import NumberField
from jobs.models import Job, Site, StartUp


class PoolOwnerChangeForm(PoolOwnerForm):
    class Meta(PoolOwnerForm.Meta):
        fields = (*PoolOwnerForm.Meta.fields, "wants_notices")  # type: ignore[assignment]  # one field more than its base
        labels = {**PoolOwnerForm.Meta.labels, "wants_notices": _l("Gets letters by e-mail")}


class SiteChangeForm(SiteForm):
    notes = forms.CharField(
        required=False, max_length=4000, label=_l("Notes on the site"), widget=forms.Textarea(attrs={"rows": 3})
    )

    @property
    def site(self) -> dict[str, Any]:
        """The fields of a `Site`; a flow that was not touched stays measured if it was."""
        kept = super().site | {"notes": self.cleaned_data["notes"]}
        by, touched = self.cleaned_data["hose_by"], {"hose_by", "hose_flow_l_min"} & set(self.changed_data)
        if by == LATER or (by == FLOW and not touched):
            del kept["hose_flow_l_min"], kept["hose_flow_measured"]
        return kept


class WorkChangeForm(WorkForm):
    start_up_method = forms.ChoiceField(choices=StartUp.choices, label=_l("Start-up method"))
    weight = NumberField(
        low=1, high=9, decimals=0, whole=True, label=_l("How much a late day counts"),
        help_text=_l("1 as any other job, 9 nine times as much."),
    )  # fmt: skip


def site_initial(site: Site) -> dict[str, Any]:
    """What the form shows of a stored site; its flow stands as known."""
    names = [*SiteForm.KEPT, "hose_flow_l_min", "notes"]
    return {name: getattr(site, name) for name in names} | {"hose_by": FLOW}


def work_initial(job: Job) -> dict[str, Any]:
    return {name: getattr(job, name) for name in WorkChangeForm.base_fields}
