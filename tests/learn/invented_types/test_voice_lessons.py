from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.networks.voice import Voice, padded


@pytest.mark.filterwarnings("ignore::DeprecationWarning")  # torch says so of its exporter
def test_a_network_that_is_taught_tells_new_types_apart_and_is_written_as_it_is(
    tmp_path, rng, tones
) -> None:
    """Types are orders of tones; those judged are of tones that were never taught together."""
    torch = pytest.importorskip("torch", reason="no torch")
    pytest.importorskip("onnx", reason="no onnx")
    from calltag.learn.invented_types.voice_lessons import export, teach_voice

    def calls(n: int) -> tuple[list[np.ndarray], np.ndarray]:
        codes = np.repeat(np.arange(n), 8)
        types = [rng.integers(4, 60, 3).tolist() for _ in range(n)]
        return [tones.call(rng, types[code], each=4) for code in codes], codes

    net = teach_voice(*calls(60), steps=60)
    export(net, tmp_path / "voice.onnx")
    patches, codes = calls(10)
    written = Voice(tmp_path / "voice.onnx").numbers(patches)
    with torch.no_grad():
        asked = [
            net(torch.tensor(padded(one)[None]), torch.tensor([float(one.shape[1])]))[0].numpy()
            for one in patches
        ]
    assert written == pytest.approx(np.stack(asked), abs=1e-4)
    untaught = tones.nearest_is_own(np.stack([one.mean(axis=(1, 2)) for one in patches]), codes)
    assert tones.nearest_is_own(written, codes) > max(0.6, untaught)
