"""Networks kept as ONNX files: ready to run, and how they are written.

Only writing needs torch, which the extra ``train`` brings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from calltag.errors import InputError

OPSET = 17
"""Version of the ONNX operators that networks are written in: it bounds the runtimes that read
them."""


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


def check_training() -> None:
    """Make sure that networks can be trained and written, before the work that goes into it.

    Raises
    ------
    InputError
        If what the extra ``train`` brings is not installed.
    """
    lacking = [name for name in ("torch", "onnx") if find_spec(name) is None]
    if lacking:
        raise InputError(
            f"{' and '.join(lacking)} not installed: making a model needs the extra `train`, so"
            " `pip install '.[train]'` first"
        )


def export(
    net: Any,
    path: Path,
    given: Mapping[str, Any],
    told: Sequence[str],
    *,
    of_any_length: Mapping[str, Mapping[int, str]],
) -> None:
    """Write a network as an ONNX file.

    Parameters
    ----------
    net : torch.nn.Module
        A trained network, ready to evaluate.
    path : Path
        The file.
    given : mapping of str to torch.Tensor
        What it is given, by name, in order; any numbers will do.
    told : sequence of str
        Names of what it tells, in order.
    of_any_length : mapping of str to mapping of int to str
        Axes of these that may be of any length, each with a name.
    """
    import torch

    torch.onnx.export(
        net,
        tuple(given.values()),
        str(path),
        input_names=list(given),
        output_names=list(told),
        dynamic_axes={name: dict(axes) for name, axes in of_any_length.items()},
        opset_version=OPSET,
        dynamo=False,  # the file is to hold its weights, and to be the same for the same network
    )
