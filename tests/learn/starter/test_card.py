from __future__ import annotations

import json
from pathlib import Path

from calltag.learn.starter.card import card_text


def test_the_card_that_ships_is_as_its_numbers_say() -> None:
    models = Path(__file__).resolve().parents[3] / "models"
    card = json.loads((models / "starter.json").read_text("utf-8"))
    assert (models / "starter.md").read_text("utf-8") == card_text(card)
