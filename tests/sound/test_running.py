import numpy as np
import pytest
import scipy.ndimage

from calltag.sound.running import running_percentile


@pytest.mark.parametrize(("ends", "mode"), [("edge", "nearest"), ("symmetric", "reflect")])
@pytest.mark.parametrize(("percent", "half"), [(25, 20), (30, 8), (50, 1)])
def test_each_row_is_filtered_alone_as_scipy_filters_a_plane(ends, mode, percent, half):
    rows = np.random.default_rng(3).normal(-50, 10, (6, 64)).astype(np.float32)
    expected = scipy.ndimage.percentile_filter(rows, percent, size=(1, 2 * half + 1), mode=mode)
    assert np.array_equal(running_percentile(rows, percent, half, ends=ends), expected)
