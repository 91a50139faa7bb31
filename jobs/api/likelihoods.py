"""How likely each answer of the survey is, given what the surface is: the usual figures and the firm's own."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from jobs.condition.likelihoods import DEFAULT_TABLE
from jobs.condition.observations import BY_NAME
from jobs.selectors.likelihoods import Asked, likelihoods_asked
from jobs.services.likelihoods import likelihoods_reset, likelihoods_set
from shared.api.endpoint import Endpoint, operation, read
from shared.api.fields import In, Number
from shared.api.marks import matched, shown
from shared.models import Firm
from shared.scopes import MANAGER

MOST_OUTCOMES = 20


class CaseRow(serializers.Serializer[Any]):
    """One case: when it holds, and the probability of each outcome, in force and usual."""

    words = serializers.CharField()
    shares = serializers.ListField(child=serializers.FloatField())
    usual = serializers.ListField(child=serializers.FloatField())
    mark = serializers.CharField(help_text="Where the figures are from.")
    own = serializers.BooleanField()


class LikelihoodRow(serializers.Serializer[Any]):
    """An observation: its outcomes in the order of the shares, and its cases."""

    observation = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment]  # a field, not the serializer's own label
    outcomes = serializers.ListField(child=serializers.CharField())
    lines = CaseRow(many=True)


class LikelihoodsRow(serializers.Serializer[Any]):
    results = LikelihoodRow(many=True)


class SharesBody(In):
    shares = serializers.ListField(child=Number(low=0, high=1), max_length=MOST_OUTCOMES)


class LikelihoodBody(In):
    """A line for each case, in their order; the shares of one line sum to 1."""

    EXAMPLE = {
        "lines": [{"shares": list(case.probabilities)} for case in DEFAULT_TABLE if case.observation == "feel_grit"]
    }

    lines = SharesBody(many=True)


def likelihood_shown(found: Asked) -> dict[str, Any]:
    lines = [
        {"words": one.words, "shares": list(one.shares), "usual": list(one.usual), "mark": one.mark, "own": one.own}
        for one in found.lines
    ]
    asked = found.observation
    return {
        "observation": asked.name,
        "label": str(asked.label),
        "outcomes": [outcome.key for outcome in asked.outcomes],
        "lines": lines,
    }


class Likelihoods(Endpoint):
    may = {"GET": MANAGER, "DELETE": MANAGER}

    @operation("likelihoods_list", "The likelihoods of every observation", gives=LikelihoodsRow)
    def get(self, request: Request) -> Response:
        return shown(request, self._all())

    @operation("likelihoods_reset", "Back to the usual figures of all", status=204, match=True)
    def delete(self, request: Request) -> Response:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, self._all())
        likelihoods_reset(firm, "", by=self.who)
        return Response(status=204)

    def _all(self) -> Any:
        return LikelihoodsRow({"results": [likelihood_shown(one) for one in likelihoods_asked()]}).data


class OneLikelihood(Endpoint):
    may = {"GET": MANAGER, "PUT": MANAGER, "DELETE": MANAGER}

    @operation("likelihood_show", "The likelihoods of one observation", gives=LikelihoodRow)
    def get(self, request: Request, name: str) -> Response:
        return shown(request, self._of(name))

    @operation(
        "likelihood_set", "The firm's own figures of one observation",
        takes=LikelihoodBody, gives=LikelihoodRow, match=True,
    )  # fmt: skip
    def put(self, request: Request, name: str) -> Response:
        firm = self._matched(request, name)
        keys = [outcome.key for outcome in BY_NAME[name].outcomes]
        given = [one["shares"] for one in read(request, LikelihoodBody)["lines"]]
        if any(len(shares) != len(keys) for shares in given):
            raise serializers.ValidationError({"lines": [f"Each line has {len(keys)} shares: {', '.join(keys)}."]})
        likelihoods_set(firm, name, [dict(zip(keys, shares, strict=True)) for shares in given], by=self.who)
        return shown(request, self._of(name))

    @operation("likelihood_reset", "Back to the usual figures of this one", status=204, match=True)
    def delete(self, request: Request, name: str) -> Response:
        likelihoods_reset(self._matched(request, name), name, by=self.who)
        return Response(status=204)

    def _matched(self, request: Request, name: str) -> Firm:
        firm = Firm.objects.select_for_update(no_key=True).get()
        matched(request, self._of(name))
        return firm

    def _of(self, name: str) -> Any:
        if name not in BY_NAME:
            self.absent("No observation has this name.")
        return LikelihoodRow(likelihood_shown(likelihoods_asked(name)[0])).data
