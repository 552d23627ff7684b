"""What calltag's own files are known by."""

from __future__ import annotations

import pytest

from calltag.own_files import SHEET_INDEX, SHEET_MARK, is_sheet


@pytest.mark.parametrize(
    ("page", "answer"),
    [
        (f"<!doctype html><head>{SHEET_MARK}</head>".encode(), True),
        (b"<!doctype html><title>Ashmere</title>", False),
        (b"\xff\xfe<" + SHEET_MARK.encode("utf-16-le"), False),  # no UTF-8, as no sheet is
        (None, False),
    ],
)
def test_a_folder_is_a_sheet_only_by_its_page(tmp_path, page, answer):
    """A sheet may be replaced, and is no rushes: another folder must not be taken for one."""
    if page is not None:
        (tmp_path / SHEET_INDEX).write_bytes(page)
    assert is_sheet(tmp_path) is answer
