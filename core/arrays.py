"""Kinds of arrays, by what is in them."""

import numpy as np
import numpy.typing as npt

#: Any measure: hours, shares, parts.
Numbers = npt.NDArray[np.float64]
#: Places in another array, counts.
Rows = npt.NDArray[np.int64]
#: Moments, in whole microseconds since 1970 (UTC).
Micros = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
