"""Arrays of days in pieces that stay in the cache, labelled or not, and the first comparison."""

from collections.abc import Callable, Iterator
from functools import wraps
from typing import Any, Literal, ParamSpec, TypeVar, cast

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import FloatArray

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


# Fewer lanes than this are worked on along the days at once, more of them day by day: numpy's own
# accumulation takes some 12 ns a number down a column, a call for a row about 1 us (measured).
NARROW = 64

# Numbers in a piece: 32,768 float64 are 256 KiB, which a common second-level cache holds, so that
# the several passes of a counter read memory once; calls into numpy cost little beside them.
PIECE = 32_768


def in_pieces(*arrays: npt.NDArray[Any]) -> Iterator[tuple[Any, ...]]:
    """Cut contiguous arrays of one shape alike into flat pieces, as views to read or to fill."""
    flat = [array.reshape(-1) for array in arrays]
    for first in range(0, flat[0].size, PIECE):
        yield tuple(array[first : first + PIECE] for array in flat)


def as_columns(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """View an array of (days, lanes...) as (days, lanes), lanes being all the other axes."""
    return values.reshape(values.shape[0], int(np.prod(values.shape[1:], dtype=np.int64)))


def as_days(values: npt.ArrayLike) -> FloatArray:
    """Return contiguous float64 with days as axis 0; ValueError when there is none."""
    array = np.asarray(values, dtype=np.float64, order="C")
    if array.ndim == 0:
        raise ValueError("a single number has no days: give an array of (days, lanes...)")
    return array


def alike(first: npt.ArrayLike, second: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return two arrays of days of one shape; lanes are never repeated in silence."""
    one, two = as_days(first), as_days(second)
    if one.shape != two.shape:
        raise ValueError(f"shapes differ: {one.shape} and {two.shape}")
    return one, two


Operator = Literal[">", ">=", "<", "<="]
Met = npt.NDArray[np.int8]

MET, NOT_MET, MISSING = 1, 0, -1

_COMPARE = {
    ">": np.greater,
    ">=": np.greater_equal,
    "<": np.less,
    "<=": np.less_equal,
}


@keeps_labels
def compare(values: npt.ArrayLike, operator: Operator, threshold: float) -> Met:
    """Compare each value with a threshold in its unit: `MET`, `NOT_MET` or `MISSING`, int8.

    A value equal to the threshold is met by ">=" and "<=" only.
    """
    if operator not in _COMPARE:
        raise ValueError(f"operator {operator!r}: write one of {', '.join(_COMPARE)}")
    array = as_days(values)
    return _COMPARE[operator](array, threshold).astype(np.int8) - np.isnan(array)
