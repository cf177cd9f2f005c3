"""Columns under headers that nobody knows: a guess where header and values say so, and none for prices."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.imports.books import report, write_book

HEAD = ["Tag", "Model", "Kind", "Length (cm)"]
PAIRS = [
    ["K-031", "Larch 96", "telemark", 178],
    ["K-032", "Larch 96", "telemark", 171],
    ["K-033", "Fir 82", "alpine", 160],
    ["K-034", "Fir 82", "alpine", 167],
]


PRICES = [
    "EK netto",
    "EK",
    "VK brutto",
    "UVP",
    "Einkaufspreis",
    "Listenpreis netto",
    "Neupreis",
    "Kaufpreis",
    "Purchase price",
    "RRP",
    "Cost (net)",
    "Retail",
    "Prix d'achat HT",
    "PVP",
    "Prezzo netto",
    "Precio",
    "Innkjøpspris",
    "Inköpspris",
    "Nákupní cena",
    "Cena netto",
    "Nabavna cena",
    "仕入価格",
    "€",
    "Wert €",
]


def looked(folder: Path, headers: list[str], values: list[Any]) -> dict[str, Any]:
    """What an import says of a list of skis with columns more, all with these values."""
    more = [headers, *([value] * len(headers) for value in values)]
    rows = [[*row, *beside] for row, beside in zip([HEAD, *PAIRS], more, strict=True)]
    said = report(write_book(folder / "own.xlsx", {"Skis": rows}))
    assert all(set(row["values"].values()).isdisjoint(values) for row in said["rows"])
    return said


@pytest.mark.parametrize("values", [[289, 310, 245.5, 199], [89, 92, 104, 99]])
def test_a_price_is_no_length(tmp_path: Path, values: list[Any]) -> None:
    """Whatever length or width its numbers would fit; it is said that each column is left out."""
    said = looked(tmp_path, PRICES, values)
    assert said["questions"] == []
    assert [f["raw"] for f in said["findings"] if f["code"] == "unknown_column"] == PRICES


@pytest.mark.parametrize(
    ("header", "values", "guesses"),
    [
        ("Bogen", [96, 96, 82, 82], ["waist_mm", "brake_mm"]),
        ("Bogen", [305, 315, 295, 295], ["bsl_mm"]),
        ("Bogen", [812, 770, 688, 702], []),
        ("Bogen", [-330, -320, -310, -305], []),
        ("Frei hinten", [330, 320, 310, 305], ["zone_back_mm", "bsl_mm"]),
        ("Abstand Ende", [812, 770, 688, 702], ["mark_from_tail_mm"]),
    ],
)
def test_a_guess_needs_values_that_fit_and_a_header_or_a_narrow_range_that_says_so(
    tmp_path: Path, header: str, values: list[Any], guesses: list[str]
) -> None:
    """What may be anything from 200 to 1,400 mm needs a word of it in its header."""
    asked = looked(tmp_path, [header], values)["questions"]
    offered = [p["answer"] for q in asked for p in q["proposals"]]
    assert offered == ([*guesses, "leave out"] if guesses else [])
