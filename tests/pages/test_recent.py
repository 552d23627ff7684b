from __future__ import annotations

import threading
import time

import pytest

from calltag.pages import recent
from calltag.pages.recent import Recent


def test_what_is_asked_for_at_once_is_made_once() -> None:
    made: list[str] = []

    def make() -> str:
        time.sleep(0.05)
        made.append("sound")
        return made[-1]

    kept: Recent[str] = Recent()
    threads = [threading.Thread(target=kept.get, args=(1, make)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert kept.get(1, make) == "sound"
    assert made == ["sound"]


def test_what_could_not_be_made_is_tried_again() -> None:
    kept: Recent[str] = Recent()

    def fail() -> str:
        raise OSError("the card is out")

    with pytest.raises(OSError, match="the card is out"):
        kept.get(1, fail)
    assert kept.get(1, lambda: "sound") == "sound"


def test_what_was_asked_for_longest_ago_is_dropped(monkeypatch) -> None:
    monkeypatch.setattr(recent, "_KEPT", 2)
    kept: Recent[str] = Recent()
    for key in (1, 2, 1, 3):
        kept.get(key, lambda: "before")
    assert [kept.get(key, lambda: "anew") for key in (1, 3)] == ["before"] * 2
    assert kept.get(2, lambda: "anew") == "anew"
