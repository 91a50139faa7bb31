from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _

from jobs.condition.observations import BY_NAME
from jobs.forms.likelihoods import LikelihoodsForm
from jobs.forms.measures import service_errors
from jobs.selectors.likelihoods import likelihood_changes, likelihoods_asked
from jobs.services.likelihoods import likelihoods_reset, likelihoods_set
from shared import access
from shared.models import Firm, Membership


def likelihoods(request: HttpRequest) -> HttpResponse:
    """How likely each answer of the survey is, given what the surface is; `?what=` changes one observation's."""
    who = access.manager(request)
    firm, name = Firm.objects.get(), request.GET.get("what", "")
    if name and name not in BY_NAME:
        raise Http404
    if name:
        return _of_one(request, firm, who, name)
    if request.method == "POST":
        likelihoods_reset(firm, "", by=who)
        messages.success(request, _("All figures are the usual ones again."))
        return redirect("likelihoods")
    shown = {"asked": likelihoods_asked(), "changes": likelihood_changes(firm)}
    return render(request, "jobs/likelihoods.html", shown)


def _of_one(request: HttpRequest, firm: Firm, who: Membership, name: str) -> HttpResponse:
    """The figures of one observation: change them, or go back to the usual ones."""
    (asked,) = likelihoods_asked(name)
    if request.method == "POST" and request.POST.get("do") == "reset":
        likelihoods_reset(firm, name, by=who)
        messages.success(request, _("The usual figures are in force again."))
        return redirect("likelihoods")
    form = LikelihoodsForm(request.POST if request.method == "POST" else None, asked=asked)
    if request.method == "POST" and form.is_valid():
        try:
            likelihoods_set(firm, name, form.probabilities, by=who)
        except ValidationError as refused:
            service_errors(form, refused)
        else:
            messages.success(request, _("Kept. Surveys are read with these figures from now on."))
            return redirect("likelihoods")
    return render(request, "jobs/likelihood.html", {"asked": asked, "form": form}, status=422 if form.errors else 200)
