"""Which files make up a starter model: one names the others, which lie beside it."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple, Self


class StarterFiles(NamedTuple):
    """The files of a starter model.

    Attributes
    ----------
    model : Path
        The network that hears all.
    closer : Path
        The one that listens closer where the first is in doubt.
    card : Path
        What the model says of itself, as JSON.
    second_look : Path
        What says how sure a find is.
    talk, hands : Path
        What tells talk from calls, and handling.
    text : Path
        The card as a text to read.
    """

    model: Path
    closer: Path
    card: Path
    second_look: Path
    talk: Path
    hands: Path
    text: Path

    @classmethod
    def of(cls, model: Path) -> Self:
        """Say where the files of a model lie, whether they are there or not.

        Parameters
        ----------
        model : Path
            The network that hears all.

        Returns
        -------
        StarterFiles
            That file, and those beside it.

        Examples
        --------
        >>> for path in StarterFiles.of(Path("models/starter.onnx")):
        ...     print(path.name)
        starter.onnx
        starter_closer.onnx
        starter.json
        starter.npz
        starter_talk.json
        starter_hands.json
        starter.md
        """
        return cls(
            model=model,
            closer=model.with_stem(f"{model.stem}_closer"),
            card=model.with_suffix(".json"),
            second_look=model.with_suffix(".npz"),
            talk=model.with_name(f"{model.stem}_talk.json"),
            hands=model.with_name(f"{model.stem}_hands.json"),
            text=model.with_suffix(".md"),
        )
