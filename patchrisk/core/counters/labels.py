"""Counters take labelled arrays as well, and give back what they got: xarray or pandas."""

from collections.abc import Callable
from functools import wraps
from typing import Any, ParamSpec, TypeVar, cast

import numpy as np

_P = ParamSpec("_P")
_R = TypeVar("_R")
_CELSIUS = {"degc", "°c", "c", "celsius", "degree_celsius", "degrees_celsius"}


def keeps_labels(counter: Callable[_P, _R]) -> Callable[_P, _R]:
    """Let a counter take a DataArray, DataFrame or Series, and label what it gives alike.

    A DataArray is turned so that its ``time`` comes first. What has a value for each day keeps
    all coordinates; what has one for each lane, those of the lanes. Attributes are not kept: they
    are those of a temperature.

    Raises
    ------
    ValueError
        By the counter of degree-days, when a DataArray's units are not degC.
    """

    @wraps(counter)
    def labelled(*args: _P.args, **kwargs: _P.kwargs) -> _R:
        first = args[0] if args else next(iter(kwargs.values()), None)
        if not hasattr(first, "dims") and not hasattr(first, "iloc"):
            return counter(*args, **kwargs)
        given: list[Any] = [_by_days(value, counter.__name__) for value in args]
        named: dict[str, Any] = {k: _by_days(v, counter.__name__) for k, v in kwargs.items()}
        made: Any = counter(*given, **named)
        return cast(_R, _alike(made, given[0] if given else next(iter(named.values()))))

    return labelled


def _by_days(value: Any, counter: str) -> Any:
    if not hasattr(value, "dims"):
        return value
    units = str(value.attrs.get("units", "degC"))
    if counter.startswith("degree_days") and units.casefold() not in _CELSIUS:
        raise ValueError(f"{counter}: units are {units!r}: give degC")
    return value.transpose("time", ...) if "time" in value.dims else value


def _alike(made: Any, given: Any) -> Any:
    """Label an array, or each of a tuple, as what it was made of."""
    if isinstance(made, tuple):
        return type(made)(*(_alike(one, given) for one in made))
    if not isinstance(made, np.ndarray) or made.shape not in (given.shape, given.shape[1:]):
        return made
    whole = made.shape == given.shape
    if hasattr(given, "dims"):
        like = given if whole else given.isel({given.dims[0]: 0}, drop=True)
        return like.copy(data=made).drop_attrs(deep=False).rename(None)
    if whole:
        axes = {"columns": given.columns} if made.ndim > 1 else {}
        return type(given)(made, index=given.index, **axes)
    return made if made.ndim == 0 else given.iloc[0].__class__(made, index=given.columns)
