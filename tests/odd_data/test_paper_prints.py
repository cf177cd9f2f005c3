"""Whatever stands in a tag, a model, a rack or a remark: the evening's list and the labels are printed."""

from __future__ import annotations

import pytest

from tests.odd_data.front_door import FrontDoor

ODD_TEXTS = {
    "a pictograph": ("stürzte \U0001f3bf zweimal", "stürzte [U+1F3BF] zweimal"),
    "letters of another script": ("Ridge 雪", "Ridge [U+96EA]"),
    "a composed and a combining accent": ("e\u0301 and o\u0323\u0302", "é and ộ"),
    "from right to left": ("\u05d0\u05d1", "[U+05D0][U+05D1]"),
    "a turned direction": ("a\u202eb\u2066c", "a[U+202E]b[U+2066]c"),
    "a control character": ("a\x07b", "a[U+0007]b"),
    "a line break and a tab": ("first\nsecond\tthird", "first second third"),
    "a soft hyphen and no character": ("a\u00adb\uffff", "a[U+00AD]b[U+FFFF]"),
}


@pytest.mark.parametrize("name", ODD_TEXTS)
def test_the_evenings_list_prints_whatever_the_renter_said(rented: FrontDoor, name: str) -> None:
    said, printed = ODD_TEXTS[name]
    assert rented("back", "K-001", "--said", said).code == 0
    assert rented("back", "K-002").code == 0
    assert rented("recheck", "print", "--out", "tonight.pdf").code == 0
    [page] = rented.pages("tonight.pdf")
    assert printed in page
    assert "K-001" in page
    assert "K-002" in page
