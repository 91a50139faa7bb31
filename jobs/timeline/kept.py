"""Results kept as long as the weather they were computed from lives."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from functools import wraps
from typing import Concatenate, Final, ParamSpec, TypeVar
from weakref import WeakKeyDictionary

from jobs.timeline.weather import HourlyWeather

Given = ParamSpec("Given")
Result = TypeVar("Result")
VARIANTS_KEPT: Final = 4  # of the other arguments, per weather


def kept_with_weather(
    function: Callable[Concatenate[HourlyWeather, Given], Result],
) -> Callable[Concatenate[HourlyWeather, Given], Result]:
    """The function with its last few results per weather object kept until that object is gone.

    The result must not hold the weather itself; positional arguments only, all hashable.
    """
    kept: WeakKeyDictionary[HourlyWeather, OrderedDict[Hashable, Result]] = WeakKeyDictionary()

    @wraps(function)
    def remembered(weather: HourlyWeather, /, *args: Given.args, **kwargs: Given.kwargs) -> Result:
        mine = kept.setdefault(weather, OrderedDict())
        if args in mine:
            mine.move_to_end(args)
            return mine[args]
        made = mine[args] = function(weather, *args, **kwargs)
        while len(mine) > VARIANTS_KEPT:
            mine.popitem(last=False)
        return made

    return remembered
