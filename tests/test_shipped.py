"""What comes with calltag: the starter model, and the demo's clips."""

from __future__ import annotations

from pathlib import Path

import pytest

from calltag import shipped
from calltag.cli.demo import demo_clips
from calltag.errors import InputError, ModelError
from calltag.learn.networks.starter_model import starter_model


def test_an_installation_has_its_own(tmp_path: Path, monkeypatch) -> None:
    """Also where a folder of that name lies beside the package."""
    package = tmp_path / "calltag"
    for folder in (package / "_data" / "models", tmp_path / "models"):
        folder.mkdir(parents=True)
        (folder / "starter.onnx").touch()
    monkeypatch.setattr(shipped, "__file__", str(package / "shipped.py"))
    assert starter_model() == package / "_data" / "models" / "starter.onnx"


def test_what_is_missing_is_told(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(shipped, "__file__", str(tmp_path / "calltag" / "shipped.py"))
    with pytest.raises(ModelError, match=r"the starter model is missing .* install calltag again"):
        starter_model()
    with pytest.raises(InputError, match=r"the demo.s clips are missing .* install calltag again"):
        demo_clips()
