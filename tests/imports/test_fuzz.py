"""Whatever the file, the importer answers, never raises. How long it takes: tests/bench/imports_speed.py."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from imports.headers import CLEAN_WORKBOOK
from tests.imports.books import BOOT, HOLE, SKI, clean_sheets, codes, report, write_book, write_csv

_SEEDS = ["contra_clean_shop.xlsx", "value_tag_zero_format.xlsx", "csv_semicolon_comma.csv"]
_MANY = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

_awkward = st.one_of(
    st.none(),
    st.integers(-(10**18), 10**18),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=30),
    st.sampled_from(
        [
            "27,5",
            "27½",
            "1/0",
            "0/0",
            '12 1/2"',
            "K-101 to K-120",
            "=1+1",
            "+",
            "-",
            "'",
            "''",
            "1E999",
            "٣٠٧",
            "1e5",
            "31.02.2024",
            "²",
            "1 000",
            "9" * 400,
            "\u202e307",
            "NaN",
            "inf",
            "1,2,3",
            "1.2.3",
        ]
    ),
    st.dates(date(1901, 1, 1), date(2099, 1, 1)),
)


def answers(path: Path) -> dict[str, Any]:
    said = report(path)
    json.dumps(said)
    assert sum(n for table in said["counts"].values() for n in table.values()) == len(said["rows"])
    assert said["outcome"] in ("import", "questions", "refuse")
    assert "unforeseen" not in codes(said)
    return said


@_MANY
@given(data=st.data())
def test_flipped_cut_and_spliced_bytes_are_answered(
    tmp_path: Path, corpus_file: Callable[[str], Path], data: st.DataObject
) -> None:
    seed = corpus_file(data.draw(st.sampled_from(_SEEDS)))
    content = bytearray(seed.read_bytes())
    for _ in range(data.draw(st.integers(1, 6))):
        place = data.draw(st.integers(0, len(content) - 1))
        how = data.draw(st.sampled_from(["flip", "cut", "insert", "zero"]))
        if how == "flip":
            content[place] ^= data.draw(st.integers(1, 255))
        elif how == "cut":
            del content[place : place + data.draw(st.integers(1, 400))]
        elif how == "insert":
            content[place:place] = data.draw(st.binary(min_size=1, max_size=40))
        else:
            content[place : place + 8] = bytes(min(8, len(content) - place))
        if not content:
            break
    path = tmp_path / f"x{seed.suffix}"
    path.write_bytes(bytes(content))
    answers(path)


@_MANY
@given(cells=st.lists(st.lists(_awkward, min_size=1, max_size=8), min_size=1, max_size=6), data=st.data())
def test_any_cells_under_shuffled_headers_are_answered(
    tmp_path: Path, cells: list[list[Any]], data: st.DataObject
) -> None:
    plan = data.draw(st.sampled_from(CLEAN_WORKBOOK))
    header = data.draw(st.permutations(plan.keys))[:8]
    path = tmp_path / ("x.xlsx" if data.draw(st.booleans()) else "x.csv")
    printable = [
        [c if not isinstance(c, str) else c.encode("utf-8", "replace").decode() for c in row] for row in cells
    ]
    if path.suffix == ".csv":
        write_csv(path, [header, *printable])
    else:
        write_book(path, {plan.sheet: [header, *printable]})
    answers(path)


@_MANY
@given(text=st.text(max_size=400), encoding=st.sampled_from(["utf-8", "utf-16", "latin-1", "utf-16-be"]))
def test_any_text_is_answered(tmp_path: Path, text: str, encoding: str) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(text.encode(encoding, "replace"))
    answers(path)


@_MANY
@given(
    order=st.permutations(list(SKI)), places=st.lists(st.integers(0, 30), min_size=1, max_size=4, unique=True)
)
def test_the_order_of_columns_and_blank_columns_do_not_matter(
    tmp_path: Path, order: list[str], places: list[int]
) -> None:
    header: list[Any] = list(order)
    row: list[Any] = [SKI[k] for k in order]
    for place in sorted(places):
        if place < len(header):
            header.insert(place, None)
            row.insert(place, None)
    said = answers(write_book(tmp_path / "x.xlsx", {"Skis": [header, row]}))
    assert said["outcome"] == "import"
    values = said["rows"][0]["values"]
    assert {k: values[k] for k in SKI} == dict(SKI)


@pytest.mark.long
@settings(max_examples=1500, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_good_row_is_never_lost_whatever_stands_in_the_others(tmp_path: Path, data: st.DataObject) -> None:
    """One good row among awkward ones comes out with all its values."""
    table = data.draw(st.sampled_from([("Skis", SKI), ("Boots", BOOT), ("Holes", HOLE)]))
    name, good = table
    keys = list(good)
    rows = data.draw(st.lists(st.lists(_awkward, min_size=len(keys), max_size=len(keys)), max_size=4))
    rows = [[c.encode("utf-8", "replace").decode() if isinstance(c, str) else c for c in row] for row in rows]
    place = data.draw(st.integers(0, len(rows)))
    rows.insert(place, [good[k] for k in keys])
    said = answers(write_book(tmp_path / "x.xlsx", clean_sheets() | {name: [keys, *rows]}))
    found = [r for r in said["rows"] if r["sheet"] == name and r["row"] == place + 2]
    assert len(found) == 1
    assert all(found[0]["values"][k] == v for k, v in good.items())


@_MANY
@given(data=st.data())
def test_mangled_parts_in_a_sound_archive_are_answered(
    tmp_path: Path, corpus_file: Callable[[str], Path], data: st.DataObject
) -> None:
    """The archive is whole, its XML is not: attributes, references and numbers of any kind."""
    seed = corpus_file(data.draw(st.sampled_from(_SEEDS[:2])))
    with zipfile.ZipFile(seed) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    name = data.draw(st.sampled_from(sorted(parts)))
    content = parts[name].decode("utf-8")
    for _ in range(data.draw(st.integers(1, 4))):
        words = re.findall(r'"[^"]*"|>[^<]+<', content)
        if not words:
            break
        old = data.draw(st.sampled_from(words))
        new = data.draw(
            st.sampled_from(
                [
                    "",
                    "-1",
                    "0",
                    "99999999999",
                    "XFE1",
                    "A0",
                    "s",
                    "str",
                    "e",
                    "d",
                    "n",
                    "1",
                    "é",
                    "zz",
                    "true",
                    "1E400",
                    "&#x0;",
                    "../x",
                ]
            )
        )
        content = content.replace(old, f"{old[0]}{new}{old[-1]}", data.draw(st.sampled_from([1, -1])))
    parts[name] = content.encode()
    path = tmp_path / "x.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for part, body in parts.items():
            archive.writestr(part, body)
    answers(path)


def test_the_name_of_our_own_column_in_a_cell_takes_no_column_off(tmp_path: Path) -> None:
    """Found by the test above: below it stood a sole type, which was read as an answer."""
    rows = [[None] * (len(BOOT) - 1) + ["mountbook answer"], list(BOOT.values())]
    said = answers(write_book(tmp_path / "x.xlsx", clean_sheets() | {"Boots": [list(BOOT), *rows]}))
    found = [r for r in said["rows"] if r["sheet"] == "Boots" and r["row"] == 3]
    assert [r["values"]["sole_type"] for r in found] == ["ISO 9523"]
