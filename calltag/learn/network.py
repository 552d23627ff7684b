"""Networks kept as ONNX files, ready to run."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def session(path: Path) -> Any:
    """Load a network to run on one core: takes are spread over processes, not threads.

    Parameters
    ----------
    path : Path
        The ONNX file.

    Returns
    -------
    onnxruntime.InferenceSession
        The network.
    """
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    options.enable_cpu_mem_arena = True  # without it the heap breaks up: up to 100 MB more
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(
        path.read_bytes(), options, providers=["CPUExecutionProvider"]
    )
