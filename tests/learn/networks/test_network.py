from __future__ import annotations

import subprocess
import sys

import pytest

from calltag.errors import InputError
from calltag.learn.networks import network


def test_what_making_a_model_lacks_is_told(monkeypatch) -> None:
    monkeypatch.setattr(network, "find_spec", lambda _: None)
    with pytest.raises(
        InputError, match=r"torch and onnx not installed: .*pip install '\.\[train\]'"
    ):
        network.check_training()
    monkeypatch.setattr(network, "find_spec", lambda name: name)
    network.check_training()


@pytest.mark.parametrize("program", ["starter", "invented_types"])
def test_the_programs_say_so_in_one_sentence(program: str) -> None:
    """Run as a developer runs them, where torch cannot be found."""
    code = (
        "import runpy, importlib.util as u; u.find_spec, found = (lambda n, *_: None if n in"
        " ('torch', 'onnx') else found(n)), u.find_spec;"
        f" runpy.run_module('calltag.learn.{program}', run_name='__main__')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stderr.startswith("torch and onnx not installed")
    assert done.stderr.count("\n") == 1
