"""The check character against a reference library, and against the slips it is there to catch."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st
from stdnum.iso7064 import mod_37_36

from fleet.base.errors import BadInput
from fleet.facts.tags import check_character, tag_as_typed

_SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_TAGS = st.text(_SIGNS, min_size=1, max_size=14)


@given(_TAGS)
def test_it_is_that_of_iso_7064_mod_37_36(tag):
    # reference: python-stdnum, stdnum.iso7064.mod_37_36 (ISO/IEC 7064:2003)
    assert check_character(tag) == mod_37_36.calc_check_digit(tag)


def test_a_published_number_carries_it():
    # Global Release Identifier A1-2425G-ABC1234002-M (IFPI GRid standard, example; quoted by python-stdnum)
    assert check_character("A1-2425G-ABC1234002") == "M"


@given(_TAGS, st.data())
def test_one_wrong_sign_is_always_caught(tag, data):
    place = data.draw(st.integers(0, len(tag) - 1))
    other = data.draw(st.sampled_from([sign for sign in _SIGNS if sign != tag[place]]))
    assert check_character(tag[:place] + other + tag[place + 1 :]) != check_character(tag)


def test_hyphens_spaces_and_small_letters_do_not_count():
    assert check_character("K4-0417") == check_character("k4 0417") == check_character("K40417")


def test_a_tag_typed_with_its_check_character_comes_back_without_it():
    assert tag_as_typed(f" K4-0417/{check_character('K4-0417').lower()} ") == "K4-0417"
    assert tag_as_typed("K4-0417") == "K4-0417"
    assert tag_as_typed("K4/0417") == "K4/0417", "a stroke inside a tag is the shop's own"


def test_a_wrong_check_character_is_one_sentence_with_a_cure():
    right = check_character("K4-0417")
    wrong = "A" if right != "A" else "B"
    with pytest.raises(BadInput, match=f"{wrong} is not the check character of K4-0417"):
        tag_as_typed(f"K4-0417/{wrong}")


def test_a_tag_without_a_letter_or_digit_cannot_be_checked():
    with pytest.raises(BadInput, match="has nothing to check"):
        check_character("---")
