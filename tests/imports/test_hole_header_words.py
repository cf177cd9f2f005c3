"""Headers that place one hole of several in a row: what each word of them says, and which headers do not.

A header is written as a mechanic would; ``of`` names the holes, ``what`` says what the number is. The words
that are left when the ski is taken out are what the question about the column shows, the same for both skis.
"""

from __future__ import annotations

import pytest

from imports.header_match import header_text
from imports.header_says import HoleHeader, by_letter, hole_header, ski_of


def read(header: str) -> HoleHeader | None:
    return hole_header(header_text(header).words)


@pytest.mark.parametrize(
    ("header", "what", "of", "side", "words"),
    [
        ("toe", "x", "toe", "", "toe"),
        ("toe front", "x", "toe front", "", "toe front"),
        ("front toe", "x", "toe front", "", "front toe"),
        ("heel middle", "x", "heel middle", "", "heel middle"),
        ("heel rear", "x", "heel rear", "", "heel rear"),
        ("toe piece rear", "x", "toe rear", "", "toe piece rear"),
        (
            "Distance of the front row of the toe",
            "x",
            "toe front",
            "",
            "distance of the front row of the toe",
        ),
        # numbered holes: up to two figures
        ("x1", "x", "1", "", "x1"),
        ("y2", "y", "2", "", "y2"),
        ("x 12", "x", "12", "", "x 12"),
        ("y12", "y", "12", "", "y12"),
        ("heel 2", "x", "heel 2", "", "heel 2"),
        ("heel 12", "x", "heel 12", "", "heel 12"),
        ("heel rear 3", "x", "heel rear 3", "", "heel rear 3"),
        ("toe x2", "x", "toe 2", "", "toe x2"),
        ("x2 toe", "x", "toe 2", "", "x2 toe"),
        ("2 toe", "x", "toe 2", "", "2 toe"),
        # across the ski
        ("width toe", "width", "toe", "", "width toe"),
        ("heel width", "width", "heel", "", "heel width"),
        ("half width heel", "half width", "heel", "", "half width heel"),
        ("toe left", "left", "toe", "", "toe left"),
        ("toe front right", "right", "toe front", "", "toe front right"),
        ("toe y", "y", "toe", "", "toe y"),
        ("toe front y", "y", "toe front", "", "toe front y"),
        ("y left toe", "y", "toe left", "", "y left toe"),
        ("toe x right", "x", "toe right", "", "toe x right"),
        ("x toe front left", "x", "toe front left", "", "x toe front left"),
        # of one ski
        ("A toe", "x", "toe", "A", "toe"),
        ("toe B", "x", "toe", "B", "toe"),
        ("Ski B toe rear", "x", "toe rear", "B", "toe rear"),
        ("toe rear of ski A", "x", "toe rear", "A", "toe rear"),
        ("toe rear on B", "x", "toe rear", "B", "toe rear"),
        ("left ski toe", "x", "toe", "A", "toe"),
        ("toe right ski", "x", "toe", "B", "toe"),
        ("Ski links Ferse", "x", "heel", "A", "ferse"),
        ("Ferse Ski rechts", "x", "heel", "B", "ferse"),
        ("width toe A", "width", "toe", "A", "width toe"),
        ("x A", "x", "", "A", "x"),
        ("B y", "y", "", "B", "y"),
        ("B x2", "x", "2", "B", "x2"),
        # other languages
        ("Vorderbacken vorn", "x", "toe front", "", "vorderbacken vorn"),
        ("Breite Ferse", "width", "heel", "", "breite ferse"),
        ("butée avant arrière", "x", "toe rear", "", "butee avant arriere"),
        ("talloniera larghezza fori", "width", "heel", "", "talloniera larghezza fori"),
        ("Tå fram hål i skidan", "x", "toe front", "", "ta fram hal i skidan"),
    ],
)
def test_a_header_says_which_holes_and_what_its_number_is(
    header: str, what: str, of: str, side: str, words: str
) -> None:
    place = read(header)
    assert place is not None
    assert (place.what, place.name, place.side, place.words) == (what, of, side, words)
    assert place.across == (what != "x")
    assert place.explicit == (what in ("x", "y") and any(w[0] in "xy" for w in place.words.split()))
    assert place.key == " ".join(part for part in ("hole", side, of, what) if part)


@pytest.mark.parametrize(
    "header",
    [
        *("", "x", "y", "x (mm)", "along", "toe toe heel", "toe heel", "front", "rear", "left", "width", "A"),
        *("toe front rear", "toe left right", "toe width left", "toe width half width", "x y toe", "x toe y"),
        *("heel 123", "x123", "heel 2x", "toe from", "toe boot", "toe from the tip", "A x y", "width A"),
        *(
            "x2 from x",
            "toe 2 from x",
            "toe from front",
            "toe rear from width",
            "from toe",
            "toe from heel from toe",
        ),
        "toe " * 20 + "x",  # 81 letters: no header is so long
    ],
)
def test_what_does_not_say_one_hole_places_none(header: str) -> None:
    assert hole_header(header_text(header).words if len(header) < 81 else header) is None


def test_a_header_of_eighty_letters_is_still_read() -> None:
    assert hole_header("toe " + "the " * 18 + "hole") is not None
    assert hole_header("toe " + "the " * 18 + "holes") is None


@pytest.mark.parametrize(
    ("header", "origin", "turned", "plus_said", "unit"),
    [
        ("toe front", "", False, False, ""),
        ("toe front from mark", "mark", False, False, ""),
        ("toe front (from mark, + to tip)", "mark", False, True, ""),
        ("toe front (mm from mark, + to tip)", "mark", False, True, "mm"),
        ("heel (+ to tail)", "", True, True, ""),
        ("heel behind mark (cm)", "mark", True, True, ""),
        ("heel (cm behind mark)", "mark", True, True, "cm"),
        ("heel rear from tail", "tail", False, False, ""),
        ("x1 (from tail, mm)", "tail", False, False, ""),
        ("toe y (+ left)", "", True, True, ""),
        # from other holes of the same ski
        ("toe rear from toe front", "toe front", False, False, ""),
        ("Toe rear off toe front", "toe front", False, False, ""),
        ("toe rear from front", "toe front", False, False, ""),
        ("heel from toe", "toe", False, False, ""),
        ("heel front from toe rear", "toe rear", False, False, ""),
        ("heel 2 from heel 1", "heel 1", False, False, ""),
        ("heel 2 from 1", "heel 1", False, False, ""),
        ("x2 from x1", "1", False, False, ""),
        ("toe x2 from x1", "toe 1", False, False, ""),
        ("heel rear from heel front (mm)", "heel front", False, False, ""),
        # the end of the ski, and no row of screws: nothing else of the header says which holes
        ("heel 2 from rear (+ to tip)", "tail", False, True, ""),
        ("x2 from back", "tail", False, False, ""),
    ],
)
def test_a_header_says_from_where_it_counts_and_which_way(
    header: str, origin: str, turned: bool, plus_said: bool, unit: str
) -> None:
    place = read(header)
    assert place is not None
    assert (place.origin, place.turned, place.plus_said, place.unit) == (origin, turned, plus_said, unit)


@pytest.mark.parametrize(
    "header",
    [
        *("toe front (+ to the tip)", "toe front (+ a punta)", "heel rear from tail (mm)", "width toe", "x2"),
        *("toe rear from toe front", "y 2 (+ a destra)", "toe front (avant, + a la pointe)"),
    ],
)
def test_a_column_is_asked_about_in_the_same_words_for_either_ski(header: str) -> None:
    """Wherever the ski stands in it: one answer then holds for both. An *a* of another language stays."""
    plain = read(header)
    assert plain is not None
    for side in "AB":
        for written in (
            f"{side} {header}",
            f"{header} {side}",
            f"ski {side} {header}",
            f"{header} of ski {side}",
        ):
            place = read(written)
            assert place is not None, written
            assert (place.side, place.words, place.name) == (side, plain.words, plain.name), written


def test_the_ski_may_stand_before_what_is_said_of_the_number() -> None:
    for side in "AB":
        place = read(f"toe rear ski {side} (mm, + a punta)")
        assert place is not None
        assert (place.side, place.words, place.unit) == (side, "toe rear mm + a punta", "mm")


@pytest.mark.parametrize(
    ("words", "side", "rest"),
    [
        ("a toe", "A", "toe"),
        ("toe b", "B", "toe"),
        ("ski a toe", "A", "toe"),
        ("toe ski b", "B", "toe"),
        ("toe of ski b", "B", "toe"),
        ("toe on a", "A", "toe"),
        ("schi b punta", "B", "punta"),
        ("punta sci a", "A", "punta"),
        ("mark from tail b", "B", "mark from tail"),
        ("left ski toe", "A", "toe"),
        ("toe right ski", "B", "toe"),
        ("ski gauche avant", "A", "avant"),
        ("avant ski droite", "B", "avant"),
        ("a", "", "a"),
        ("toe", "", "toe"),
        ("toe a rear", "", "toe a rear"),
        ("baton", "", "baton"),
        ("left toe", "", "left toe"),
    ],
)
def test_a_header_names_one_ski_at_its_beginning_or_end(words: str, side: str, rest: str) -> None:
    assert ski_of(words) == (side, rest)


@pytest.mark.parametrize(
    ("words", "lettered"),
    [
        ("left ski toe", "a toe"),
        ("toe ski left", "toe a"),
        ("right skis", "b"),
        ("linke ski", "linke ski"),
        ("links ski and rechts ski", "a and b"),
        ("ski rechts vorn", "b vorn"),
        ("left", "left"),
        ("leftover ski", "leftover ski"),
    ],
)
def test_left_is_a_and_right_is_b(words: str, lettered: str) -> None:
    assert by_letter(words) == lettered
