"""What voice a find has: a few numbers, learnt from invented call types, that tell types apart.

A small network of two hidden layers bends the measurements so that calls of one type lie close
together and those of others far off; a straight map beside it carries what needs no bending. It is
taught by episodes [1]_: a few calls of each of some types make a centre for each, and the other
calls are to be nearest to their own. Whether this or that measurement matters depends on the voice
(the pitch of a whistle, but not that of a hiss), which no straight map can say.

References
----------
.. [1] J. Snell, K. Swersky, R. Zemel, "Prototypical networks for few-shot learning", NeurIPS 2017.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Voice:
    """The network's weights.

    Attributes
    ----------
    first : np.ndarray, shape (n_measured, n_hidden)
        From scaled measurements to the first hidden layer.
    first_offset : np.ndarray, shape (n_hidden,)
        What is added there.
    second : np.ndarray, shape (n_hidden, n_hidden)
        From the first hidden layer to the second.
    second_offset : np.ndarray, shape (n_hidden,)
        What is added there.
    bent : np.ndarray, shape (n_hidden, n_numbers)
        From the second hidden layer to the numbers.
    straight : np.ndarray, shape (n_measured, n_numbers)
        From scaled measurements straight to the numbers.
    offset : np.ndarray, shape (n_numbers,)
        What is added to the numbers.
    """

    first: Array
    first_offset: Array
    second: Array
    second_offset: Array
    bent: Array
    straight: Array
    offset: Array

    def __call__(self, scaled: npt.NDArray[Any]) -> Array:
        """Describe finds.

        Parameters
        ----------
        scaled : np.ndarray, shape (n, n_measured)
            Scaled measurements.

        Returns
        -------
        np.ndarray, shape (n, n_numbers)
            Their numbers, each of mean 0 and variance 1 over the calls that they were learnt from.
        """
        hidden = _bend(scaled @ self.first + self.first_offset)
        hidden = _bend(hidden @ self.second + self.second_offset)
        return np.asarray(hidden @ self.bent + scaled @ self.straight + self.offset)

    def arrays(self, dtype: type = np.float32) -> dict[str, npt.NDArray[Any]]:
        """Return its weights by name, as they are stored.

        Parameters
        ----------
        dtype : type
            Of their numbers.

        Returns
        -------
        dict of str to np.ndarray
            The weights.
        """
        return {name: getattr(self, name).astype(dtype) for name in self.__dataclass_fields__}


def _bend(x: Array) -> Array:
    """Gaussian error linear unit."""
    return np.asarray(x * ndtr(x))
