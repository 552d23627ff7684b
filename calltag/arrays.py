"""Arrays as they are annotated everywhere."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    FloatArray: TypeAlias = npt.NDArray[np.float32]
    DoubleArray: TypeAlias = npt.NDArray[np.float64]
else:  # half of the time that `--help` takes would go into numpy
    FloatArray = "npt.NDArray[np.float32]"
    DoubleArray = "npt.NDArray[np.float64]"
