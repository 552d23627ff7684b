from __future__ import annotations

import numpy as np
import pytest

from calltag.records.span import Span
from calltag.takes.filter_cuts import UNCUT, Band, Cut
from calltag.takes.rescue.treatment import Treatment, gains_of

LOW, HIGH = UNCUT._replace(low_hz=800.0), UNCUT._replace(high_hz=2000.0)


@pytest.mark.parametrize(
    ("start_s", "end_s", "band"),
    [
        (0.0, 1.9, UNCUT),  # its middle lies before both
        (0.5, 1.5, LOW),  # just where the first begins
        (1.5, 2.4, LOW),
        (1.5, 2.5, HIGH),  # just where the second begins
        (2.4, 3.5, HIGH),
        (2.5, 3.5, UNCUT),  # just where it ends
    ],
)
def test_of_two_cuts_that_meet_each_is_made_where_the_middle_lies(start_s, end_s, band: Band):
    treatment = Treatment(cuts=(Cut(1.0, 2.0, LOW), Cut(2.0, 3.0, HIGH)))
    gains = gains_of(treatment, [], [Span(start_s, end_s)])
    np.testing.assert_allclose(gains.rest[1], band.gain())
