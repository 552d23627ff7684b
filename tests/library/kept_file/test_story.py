"""What can be a story of a kept call."""

from __future__ import annotations

import pytest

from calltag.library.kept_file.story import from_plain, to_plain

from ..conftest import plain_story


@pytest.mark.parametrize(
    "changed",
    [
        {"id": ""},
        {"take_digest": ""},
        {"confidence": 2**63},
        {"feature_version": -(2**63) - 1},
        {"also_heard": [["take 1", "A001.MOV", 10**400, 2.0]]},
        {"also_heard": [["take 1", 1, 1.0, 2.0]]},
        {"noise": ["wind \ud83d"]},
    ],
)
def test_what_no_catalogue_could_hold_is_no_story(changed: dict[str, object]):
    with pytest.raises(ValueError, match="cannot be what stands there"):
        from_plain(to_plain(plain_story()) | changed)
