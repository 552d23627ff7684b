from __future__ import annotations

import io
import json
import os
import pickle
import zipfile
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skops.io
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sklearn.linear_model import LogisticRegression
from sklearn.preprocessing import FunctionTransformer

from calltag.errors import InputError, ModelError
from calltag.learn.call_types import model_file
from calltag.learn.call_types.model_file import FORMAT, load_model, read_card, save_model
from calltag.learn.call_types.teach import Taught, teach
from calltag.sound.features import FEATURE_VERSION


@pytest.fixture
def model(tmp_path, taught: Taught) -> Path:
    path = tmp_path / "calltypes.model"
    save_model(path, taught)
    return path


def members(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def rewrite(path: Path, *, content: bytes | None = None, **card: Any) -> None:
    """Change a model as a forger would: content, card, and the digest that fits them."""
    held = members(path)
    if content is not None:
        held["tagger.skops"] = content
        card["digest"] = model_file.hashlib.sha256(content).hexdigest()
    held["card.json"] = json.dumps(json.loads(held["card.json"]) | card).encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in held.items():
            archive.writestr(name, data)


def test_a_stored_tagger_tags_as_before(model: Path, taught: Taught, sounds) -> None:
    heard = np.concatenate([sounds.rows(label, 20, take=8) for label in (*sounds.types, "eel")])
    loaded = load_model(model)
    assert loaded.classes == taught.tagger.classes
    assert loaded.tag(heard) == taught.tagger.tag(heard)


def test_how_common_types_are_is_stored(tmp_path, sounds) -> None:
    waiting = sounds.unlabelled("reed otter: whistle", 60)
    animals = ("marsh hooter: boom", "pit rail: rasp")
    for types in (sounds.types, animals, ("machine", "pit rail: rasp")):
        taught = teach(sounds.examples(types=types), unlabelled=waiting)
        path = tmp_path / "calltypes.model"
        save_model(path, taught)
        assert taught.tagger.trust.share is not None
        assert load_model(path).trust == taught.tagger.trust


def test_card_is_read_without_the_model(model: Path, taught: Taught, monkeypatch) -> None:
    monkeypatch.setattr(skops.io, "loads", None)
    card = read_card(model)
    assert card.feature_version == FEATURE_VERSION
    assert card.examples == dict.fromkeys(taught.tagger.classes, 20)
    assert card.groups == 5
    assert card.sample_rate_hz == 48_000
    assert card.validation["accuracy"] == pytest.approx(taught.report.validation.accuracy, abs=1e-4)
    assert card.created.endswith("+00:00")
    assert {"python", "numpy", "scikit-learn", "skops"} <= card.libraries.keys()


def test_figures_that_could_not_be_taken_are_null(tmp_path, sounds) -> None:
    from calltag.learn.call_types.teach import teach

    path = tmp_path / "m"
    save_model(path, teach(sounds.examples(takes=1, each=6)))
    text = members(path)["card.json"].decode()
    assert "NaN" not in text
    assert read_card(path).validation["accuracy"] is None


def test_the_file_holds_no_object_of_any_library(model: Path) -> None:
    content = members(model)["tagger.skops"]
    assert skops.io.get_untrusted_types(data=content) == []
    held = skops.io.loads(content)
    judges = [held[who]["judges"] for who in ("everything", "types")]
    stored = [*held.values(), *(value for each in judges for value in each.values())]
    assert {type(value) for value in stored} <= {dict, list, float, np.ndarray}
    assert not any(value.dtype.hasobject for value in stored if isinstance(value, np.ndarray))


class Trap:
    """Leaves a file behind when it is unpickled."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def __reduce__(self):
        return Path.touch, (self.path,)


def test_the_trap_works(tmp_path) -> None:
    pickle.loads(pickle.dumps(Trap(tmp_path / "sprung")))
    assert (tmp_path / "sprung").exists()


def with_pickle_as_file(model: Path, trap: Trap) -> None:
    model.write_bytes(pickle.dumps(trap))


def with_pickle_as_content(model: Path, trap: Trap) -> None:
    rewrite(model, content=pickle.dumps(trap))


def with_pickled_array(model: Path, trap: Trap) -> None:
    """An array of objects, as numpy would pickle it, in place of a real one."""
    buffer = io.BytesIO()
    np.save(buffer, np.array([trap], dtype=object), allow_pickle=True)
    inner = members(model)["tagger.skops"]
    forged = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(inner)) as old, zipfile.ZipFile(forged, "w") as new:
        for name in old.namelist():
            new.writestr(name, buffer.getvalue() if name.endswith(".npy") else old.read(name))
    rewrite(model, content=forged.getvalue())


def with_function(model: Path, trap: Trap) -> None:
    """A call of a function, bound to its argument, where an object is expected."""
    held = skops.io.loads(members(model)["tagger.skops"])
    held["everything"]["curve"] = partial(os.mkdir, str(trap.path))
    rewrite(model, content=skops.io.dumps(held))


def with_foreign_estimator(model: Path, trap: Trap) -> None:
    """An estimator that the format itself would trust, with a function inside."""
    held = skops.io.loads(members(model)["tagger.skops"])
    held["types"]["judges"]["slopes"] = FunctionTransformer(func=np.exp)
    rewrite(model, content=skops.io.dumps(held))


def with_type_of_another_name(model: Path, trap: Trap) -> None:
    """A node that claims to load one thing and names another."""
    inner = members(model)["tagger.skops"]
    forged = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(inner)) as old, zipfile.ZipFile(forged, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "schema.json":
                schema = json.loads(data)
                trust = schema["content"]["trust"]
                trust["content"]["curve"] |= {"__module__": "posix", "__class__": "mkdir"}
                data = json.dumps(schema).encode()
            new.writestr(name, data)
    rewrite(model, content=forged.getvalue())


@pytest.mark.parametrize(
    "forge",
    [
        with_pickle_as_file,
        with_pickle_as_content,
        with_pickled_array,
        with_function,
        with_foreign_estimator,
        with_type_of_another_name,
    ],
)
def test_nothing_in_a_file_is_run(model: Path, tmp_path, forge) -> None:
    forge(model, Trap(tmp_path / "sprung"))
    with pytest.raises(ModelError, match=r"^calltypes\.model: (holds `|is damaged)"):
        load_model(model)
    assert not (tmp_path / "sprung").exists()


def test_a_model_of_other_features_is_refused(model: Path) -> None:
    rewrite(model, feature_version=FEATURE_VERSION + 1)
    with pytest.raises(ModelError, match=r"calltypes\.model: was taught with version \d+ of the"):
        load_model(model)
    assert read_card(model).feature_version == FEATURE_VERSION + 1


def test_a_model_of_another_layout_is_refused(model: Path) -> None:
    rewrite(model, format=99, new_field="?")
    with pytest.raises(ModelError, match="is a model of layout 99"):
        read_card(model)


def test_another_library_version_is_no_hindrance(model: Path, taught: Taught, sounds) -> None:
    rewrite(model, libraries={"scikit-learn": "0.1", "numpy": "0.1"})
    heard = sounds.rows("machine", 5)
    assert load_model(model).tag(heard) == taught.tagger.tag(heard)


@pytest.mark.parametrize("who", ["everything", "types"])
def test_a_model_that_judges_otherwise_is_refused(model: Path, who: str) -> None:
    held = skops.io.loads(members(model)["tagger.skops"])
    held[who]["judges"]["offsets"] = held[who]["judges"]["offsets"] + 0.01
    rewrite(model, content=skops.io.dumps(held))
    with pytest.raises(ModelError, match="does not judge here as it did"):
        load_model(model)


@pytest.mark.parametrize(
    "card",
    [
        b"{}",
        b"[]",
        b"\xff",
        b"[" * 100_000,
        json.dumps({"format": FORMAT}).encode(),
        json.dumps({"format": FORMAT, "examples": 3}).encode(),
    ],
)
def test_a_damaged_card_is_refused(model: Path, card: bytes) -> None:
    held = members(model)
    with zipfile.ZipFile(model, "w") as archive:
        archive.writestr("card.json", card)
        archive.writestr("tagger.skops", held["tagger.skops"])
    for read in (read_card, load_model):
        with pytest.raises(ModelError, match=r"^calltypes\.model: is damaged, or no calltag model"):
            read(model)


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_damage_never_goes_unnoticed(tmp_path, taught: Taught, sounds, data) -> None:
    """Whatever byte is changed or lost: the tagger is whole, or there is a sentence."""
    path = tmp_path / "calltypes.model"
    if not path.exists():
        save_model(path, taught)
        (tmp_path / "whole").write_bytes(path.read_bytes())
    whole = (tmp_path / "whole").read_bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    if data.draw(st.booleans()):
        path.write_bytes(whole[:at])
    else:
        changed = data.draw(st.integers(1, 255))
        path.write_bytes(whole[:at] + bytes([whole[at] ^ changed]) + whole[at + 1 :])
    heard = sounds.rows("machine", 3)
    try:
        loaded = load_model(path)
    except ModelError as error:
        assert str(error).startswith("calltypes.model: ")  # noqa: PT017 - either may happen
    else:
        assert loaded.tag(heard) == taught.tagger.tag(heard)


@pytest.mark.parametrize("foreign", ["skops", "text", "empty", "folder", "missing"])
def test_foreign_files_are_refused(tmp_path, foreign: str) -> None:
    path = tmp_path / "calltypes.model"
    match foreign:
        case "skops":
            skops.io.dump(LogisticRegression().fit([[0.0], [1.0]], [0, 1]), path)
        case "text":
            path.write_text("marsh hooter: boom")
        case "empty":
            path.write_bytes(b"")
        case "folder":
            path.mkdir()
    with pytest.raises(ModelError, match=r"^calltypes\.model: [^\n]*; ") as caught:
        load_model(path)
    if foreign == "missing":
        assert "there is no such model" in str(caught.value)


def test_a_file_that_unpacks_to_too_much_is_refused(model: Path, monkeypatch) -> None:
    monkeypatch.setattr(model_file, "LARGEST_BYTES", 1000)
    with pytest.raises(ModelError, match="is damaged"):
        load_model(model)


def test_storing_replaces_whole_or_not_at_all(model: Path, taught: Taught, monkeypatch) -> None:
    before = model.read_bytes()
    monkeypatch.setattr(model_file, "_card", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        save_model(model, taught)
    assert model.read_bytes() == before
    assert [path.name for path in model.parent.iterdir()] == ["calltypes.model"]
    monkeypatch.undo()
    trust = taught.tagger.trust
    slower = replace(trust, everything=replace(trust.everything, threshold=0.8))
    save_model(model, replace(taught, tagger=replace(taught.tagger, trust=slower)))
    assert load_model(model).trust == slower


def test_a_place_that_cannot_be_written_is_named(tmp_path, taught: Taught) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="cannot be written"):
        save_model(tmp_path / "file" / "calltypes.model", taught)
