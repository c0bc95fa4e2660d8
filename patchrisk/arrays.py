"""The types of the arrays that go from module to module: days first, then lanes."""

from typing import Any

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.signedinteger[Any]]
BoolArray = npt.NDArray[np.bool_]
DayArray = npt.NDArray[np.datetime64]
