"""The habits of shops: each says what it does to a tidy file, and what must come of it.

A row of `HABITS` is one habit. Its expectation is written from what the sheet says to a person who stands in the
shop, never from what the program does: TAKEN exactly so, ASKED about, LEFT alone (`shop.Want`). Two habits of one
group never meet in a file.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from tests.import_habits.shop import LANGUAGES, Cell, Draft, Row, Table, Want, headers, plain_holes, words


@dataclass(frozen=True)
class Habit:
    """``group``: habits that touch the same thing, of which a file has one."""

    name: str
    group: str
    wants: str
    do: Callable[[Draft], None]


def _english(name: str) -> Any:
    return lambda draft: speak(draft, name, 0)


def speak(draft: Draft, language: str, variant: int) -> None:
    """Headers of that language: the first form is plain, the others may be asked about."""
    draft.language = language
    for table in draft.tables.values():
        named = headers(language, table.kind)
        for key in list(table.headers):
            if key not in named:
                continue
            texts = named[key]
            chosen = texts[min(variant, len(texts) - 1)]
            if chosen in table.headers.values():
                chosen = texts[0]
            table.headers[key] = chosen
            if chosen != texts[0]:
                table.soften(key)
    for row, cell in draft.skis.cells("kind"):
        del row
        if cell.truth and (said := words(language, "kind", str(cell.truth))):
            cell.shown = said[min(variant, len(said) - 1)]
            cell.want = Want.TAKEN if variant == 0 else Want.EITHER
    for _, cell in draft.skis.cells("construction"):
        if cell.truth and (said := words(language, "construction", str(cell.truth))):
            cell.shown, cell.want = said[0], Want.TAKEN if language == "en" else Want.EITHER
    plain_holes(draft)


def misspelt(draft: Draft) -> None:
    """A letter lost or doubled in each header of five letters and more: near, so it may be asked about."""
    for table in draft.tables.values():
        for key, text in list(table.headers.items()):
            if len(text) > 4 and text.isascii():
                at = draft.draw.randrange(1, 4)
                table.headers[key] = text[:at] + (
                    text[at + 1 :] if draft.draw.random() < 0.5 else text[at] + text[at:]
                )
                table.soften(key)


def shouted(draft: Draft) -> None:
    for table in draft.tables.values():
        table.headers = {key: f"  {text.upper()} : " for key, text in table.headers.items()}


def two_line_headers(draft: Draft) -> None:
    for table in draft.tables.values():
        table.headers = {key: text.replace(" ", "\n") for key, text in table.headers.items()}


def unit_row(draft: Draft) -> None:
    """The units stand in a row of their own under the header."""
    units = {"length_cm": "cm", "waist_mm": "mm", "brake_mm": "mm", "bsl_mm": "mm", "mark_from_tail_mm": "mm"}
    for table in draft.tables.values():
        table.headers = {
            key: text.replace(" (mm)", "").replace(" (cm)", "") for key, text in table.headers.items()
        }
        table.second_header = units


def number_in(key: str, factor: float, header: str, want: Want = Want.EITHER) -> Callable[[Draft], None]:
    """The column in another unit, said in its header (or not: then ``header`` names none)."""

    def do(draft: Draft) -> None:
        for table in draft.tables.values():
            if key in table.headers:
                table.headers[key] = header
                for _, cell in table.cells(key):
                    if cell.truth is not None:
                        cell.shown, cell.want = round(cell.truth * factor, 4), want

    return do


def in_inches(draft: Draft) -> None:
    draft.skis.headers["waist_mm"] = "Waist (in)"
    for _, cell in draft.skis.cells("waist_mm"):
        cell.truth = {74: 73.66, 82: 81.28}.get(cell.truth, 88.9)
        cell.shown, cell.want = round(cell.truth / 25.4, 2), Want.EITHER


def written(
    key: str, form: Callable[[Any], Any], want: Want = Want.TAKEN, kind: str = "ski"
) -> Callable[[Draft], None]:
    """Every value of the column in that written form."""

    def do(draft: Draft) -> None:
        for _, cell in draft.tables[kind].cells(key):
            if cell.truth is not None:
                cell.shown = form(cell.truth)
                if cell.want is Want.TAKEN:
                    cell.want = want

    return do


def everywhere(form: Callable[[Any], Any], want: Want = Want.TAKEN) -> Callable[[Draft], None]:
    def do(draft: Draft) -> None:
        for table in draft.tables.values():
            for row in table.rows:
                for key, cell in row.cells.items():
                    if isinstance(cell.shown, int | float) and key != "tag":
                        cell.shown = form(cell.shown)
                        if cell.want is Want.TAKEN:
                            cell.want = want

    return do


def cell_says(
    key: str,
    shown: Callable[[Draft, Cell], Any],
    truth: Any,
    want: Want,
    *,
    row: Want = Want.TAKEN,
    many: int = 1,
    kind: str = "ski",
) -> Callable[[Draft], None]:
    """A cell or two say something else. ``truth`` "same": what stood there is meant all the same."""

    def do(draft: Draft) -> None:
        for at in draft.some(many, kind):
            if key in at.cells:
                old = at.cells[key]
                at.cells[key] = Cell(shown(draft, old), old.truth if truth == "same" else truth, want)
                at.want, at.why = row, f"{key} says {at.cells[key].shown!r}"

    return do


def unknown_words(draft: Draft) -> None:
    """Cells that say that nobody knows: unknown, never 0, none or text."""
    for key in (
        "waist_mm",
        "construction",
        "brake_mm",
        "bsl_mm",
        "mount_date",
        "earlier_mounts",
        "mark_from_tail_mm",
        "binding_model",
        "rack",
    ):
        for row in draft.some(2):
            if row.cells[key].want is Want.TAKEN:
                row.cells[key] = Cell(draft.word("unknown"), None, Want.LEFT)
    for key in ("mondopoint", "bsl_mm", "sole_type"):
        for row in draft.some(1, "boot"):
            row.cells[key] = Cell(draft.word("unknown"), None, Want.LEFT)


def blanks(draft: Draft) -> None:
    """Empty cells: unknown, never 0 or none."""
    for key in (
        "waist_mm",
        "construction",
        "brake_mm",
        "bsl_mm",
        "mount_date",
        "earlier_mounts",
        "mark_from_tail_mm",
        "rack",
    ):
        for row in draft.some(3):
            row.cells[key] = Cell(draft.draw.choice((None, "", "  ")), None, Want.LEFT)
    for key in ("mondopoint", "bsl_mm", "sole_type"):
        for row in draft.some(2, "boot"):
            row.cells[key] = Cell(None, None, Want.LEFT)


def no_column(*keys: str) -> Callable[[Draft], None]:
    """The shop never kept it: it is unknown for all."""

    def do(draft: Draft) -> None:
        draft.skis.drop(*keys)

    return do


def no_kind(draft: Draft) -> None:
    """No column says what the pairs are for: one answer for the table, or for each model."""
    for _, cell in draft.skis.cells("kind"):
        cell.truth, cell.want = None, Want.ASKED
    draft.skis.headers.pop("kind")
    draft.topics.add("kind")


def kind_by_title(draft: Draft) -> None:
    """No kind column; a title line over each kind's block says it."""
    draft.skis.rows.sort(key=lambda row: str(row.cells["kind"].truth))
    last = ""
    for row in draft.skis.rows:
        cell = row.cells["kind"]
        cell.want = Want.EITHER
        if cell.truth != last:
            last = str(cell.truth)
            row.before.append(
                [f"{last.title()} skis" if draft.language == "en" else draft.word("kind", last).upper()]
            )
    draft.skis.headers.pop("kind")
    draft.topics.add("kind")


def kind_by_sheet(draft: Draft) -> None:
    """No kind column; the sheet's name says it: evidence, so one question."""
    for _, cell in draft.skis.cells("kind"):
        cell.want = Want.ASKED if cell.truth != "alpine" else Want.EITHER
    draft.skis.rows = [row for row in draft.skis.rows if row.cells["kind"].truth == "alpine"]
    draft.skis.headers.pop("kind")
    draft.names["ski"] = "Alpine" if draft.language == "en" else "Alpin"
    draft.topics.add("kind")


def said_core(word: str) -> Callable[[Draft], None]:
    """A word for what the core is made of: it does not say whether there is metal. The drill depends on it."""

    def do(draft: Draft) -> None:
        for _, cell in draft.skis.cells("construction"):
            cell.shown, cell.truth, cell.want = word, None, Want.LEFT
        draft.topics.add("construction")

    return do


def words_of_leaving(key: str) -> Callable[[Draft], None]:
    """A cell says that the pair is gone or broken: it is asked about, and never planned before the answer."""

    def do(draft: Draft) -> None:
        for row in draft.some(2):
            row.cells[key] = Cell(draft.word("gone"), None, Want.ASKED)
            row.want, row.why = Want.ASKED, f"{key} says {row.cells[key].shown!r}"

    return do


def column_of_leaving(header: str, fine: str) -> Callable[[Draft], None]:
    """A further column where some rows say that the pair is gone."""

    def do(draft: Draft) -> None:
        gone = draft.some(2)
        draft.skis.extra[header] = [draft.word("gone") if row in gone else fine for row in draft.skis.rows]
        for row in gone:
            row.want, row.why = Want.ASKED, f"{header} says gone"

    return do


def look(how: str) -> Callable[[Draft], None]:
    """A row marked by its look: struck, red under a legend that says so, or a comment."""

    def do(draft: Draft) -> None:
        for row in draft.some(2):
            if how == "struck":
                row.struck = True
            elif how == "red":
                row.fill = "FF7070"
            else:
                row.comment = draft.word("gone")
            row.want, row.why = Want.ASKED, f"{how}: gone"
        if how == "red":
            draft.skis.above.append([f"red = {words(draft.language, 'gone')[0]}"])

    return do


UNDER_A_TITLE = "its block's title says gone"


def gone_title(draft: Draft) -> None:
    """The last rows stand under a title that says they are gone."""
    rows = draft.skis.rows[-3:]
    rows[0].before.append([draft.word("gone").upper()])
    for row in rows:
        row.want, row.why = Want.ASKED, UNDER_A_TITLE


def gone_sheet(draft: Draft) -> None:
    """A second sheet of the same columns, whose name says sold."""
    rows = draft.skis.rows[-3:]
    draft.skis.rows = draft.skis.rows[:-3]
    draft.tables["gone"] = Table("ski", dict(draft.skis.headers), rows)
    draft.names["gone"] = words(draft.language, "gone")[0].title()[:20] + " 2025"
    for row in rows:
        row.want, row.why = Want.ASKED, "its sheet's name says gone"


def ditto(draft: Draft) -> None:
    """A mark for *as above*: the value of the row above, or a question; never the mark itself."""
    rows = draft.skis.rows
    mark = draft.word("ditto")
    for above, row in itertools.pairwise(rows):
        if draft.draw.random() < 0.4:
            for key in ("model", "binding_model"):
                if above.cells[key].truth is not None and row.cells[key].want is Want.TAKEN:
                    row.cells[key] = Cell(mark, above.cells[key].truth, Want.EITHER)


def model_once(draft: Draft) -> None:
    """The model only in the first row of its block, the cells below it empty: unknown or asked, never guessed."""

    def place(at: int) -> tuple[bool, str]:
        row = draft.skis.rows[at]
        under = row.why == UNDER_A_TITLE  # and stays there
        return under, "" if under else str(row.cells["model"].truth)

    order = sorted(range(len(draft.skis.rows)), key=place)
    draft.skis.extra = {key: [values[at] for at in order] for key, values in draft.skis.extra.items()}
    rows = draft.skis.rows = [draft.skis.rows[at] for at in order]
    for above, row in list(itertools.pairwise(rows))[::-1]:
        if above.cells["model"].truth == row.cells["model"].truth:
            row.cells["model"] = Cell(None, row.cells["model"].truth, Want.EITHER)


def totals(draft: Draft) -> None:
    """Sums, blank lines and a foot: no things."""
    for table in draft.tables.values():
        first, second = list(table.headers)[:2]
        del first, second
        table.below += [
            [],
            ["Total" if draft.language == "en" else "Summe", len(table.rows)],
            ["as of 12 Oct, page 1 of 1"],
        ]


def blank_rows(draft: Draft) -> None:
    for table in draft.tables.values():
        for row in table.rows[2::3]:
            row.before.append([])


def header_again(draft: Draft) -> None:
    """The header is repeated every few rows, as printed lists have it."""
    for table in draft.tables.values():
        for row in table.rows[4::4]:
            row.before.append(["\0header"])


def titles_above(draft: Draft) -> None:
    draft.skis.above += [["SKI RENTAL UNDER THE HILL"], ["season 2025/26", None, "list of all pairs"], []]
    draft.boots.above += [["BOOTS"], []]


def strangers(draft: Draft) -> None:
    """A sheet of customers: none of the shop's things; nothing of it is taken."""
    lines: list[list[Any]] = [["No.", "Name", "Phone", "Height", "Weight", "Shoe size", "Ski", "from", "to"]]
    for at in range(5):
        lines.append(
            [
                at + 1,
                f"Customer {at}",
                f"0650 55{at}",
                160 + 7 * at,
                60 + 4 * at,
                38 + at,
                150 + 5 * at,
                f"2025-01-0{at + 1}",
                f"2025-01-0{at + 4}",
            ]
        )
    draft.strange.append(("Customers" if draft.language != "de" else "Kunden", lines))


def stocktake(draft: Draft) -> None:
    """A half-finished count: tags again, but no facts; nothing of it becomes a pair."""
    lines: list[list[Any]] = [["Count of 18 Oct, not finished"], ["No.", "there?", "who"]]
    lines += [[row.tag, draft.draw.choice(("x", "x", "", "?")), "G."] for row in draft.skis.rows]
    draft.strange.append(("Stocktake Oct", lines))


def price_columns(draft: Draft) -> None:
    """Columns that are none of ours stand between ours."""
    draft.skis.extra["Price net"] = [draft.draw.choice((189, 249.9, 310)) for _ in draft.skis.rows]
    draft.skis.extra["Supplier"] = ["Talhandel" for _ in draft.skis.rows]


def shuffled(draft: Draft) -> None:
    for table in draft.tables.values():
        items = list(table.headers.items())
        draft.draw.shuffle(items)
        table.headers = dict(items)


def twin_tags(draft: Draft) -> None:
    """Two pairs wear one tag: both are asked about."""
    if len(two_rows := draft.some(2)) < 2:
        return
    one, two = two_rows
    two.tag = one.tag
    two.cells["tag"] = Cell(one.cells["tag"].shown, one.cells["tag"].truth, Want.ASKED)
    for row in (one, two):
        row.want, row.why = Want.ASKED, f"{row.tag} stands twice"


def numeric_tags(draft: Draft) -> None:
    """Tags are bare numbers; the sheet of holes writes them with leading zeros."""
    names = {}
    for at, row in enumerate(draft.skis.rows):
        names[row.tag] = str(at + 7)
        row.tag = str(at + 7)
        row.cells["tag"] = Cell(at + 7, str(at + 7))
    for hole in draft.holes:
        hole["pair_tag"] = names.get(hole["pair_tag"], hole["pair_tag"])
    plain_holes(draft, ours=True)
    for line in draft.hole_grid[1:]:
        line[0] = f"{int(line[0]):03}" if line[0].isdigit() else line[0]
    draft.holes_want = Want.EITHER
    draft.topics.add("tag")


def zero_tags(draft: Draft) -> None:
    """Tags are text with leading zeros: they stay so."""
    names = {}
    for at, row in enumerate(draft.skis.rows):
        names[row.tag] = f"{at + 7:04}"
        row.tag = f"{at + 7:04}"
        row.cells["tag"] = Cell(row.tag, row.tag)
    for hole in draft.holes:
        hole["pair_tag"] = names.get(hole["pair_tag"], hole["pair_tag"])
    plain_holes(draft, ours=True)


def date_tags(draft: Draft) -> None:
    """The spreadsheet made days of some tags (3-12 became 3 December): asked, for nobody can read them back."""
    for row in draft.some(2):
        row.cells["tag"] = Cell(
            datetime(2025, draft.draw.randint(1, 12), draft.draw.randint(1, 12)),  # noqa: DTZ001
            None,
            Want.ASKED,
        )
        row.want, row.why, row.tag = Want.LEFT, "a day for a tag", "?"


def two_tags(draft: Draft) -> None:
    for row in draft.some(1):
        row.cells["tag"] = Cell(f"{row.tag}/{row.tag[-2:]}9", None, Want.ASKED)
        row.want, row.why, row.tag = Want.LEFT, "two tags in a cell", "?"


def left_and_right(draft: Draft) -> None:
    """Left and right ski in rows of their own, as L and R behind the tag: skis of one pair, not two pairs."""
    rows = []
    for row in draft.skis.rows[:5]:
        for side in "LR":
            cells = {key: Cell(cell.shown, cell.truth, Want.EITHER) for key, cell in row.cells.items()}
            cells["tag"] = Cell(f"{row.tag} {side}", None, Want.ASKED)
            rows.append(Row(f"{row.tag} {side}", cells, Want.ASKED, "one of two skis with its own tag"))
    draft.skis.rows = rows
    draft.holes, draft.hole_grid = [], []


def day_form(form: Callable[[date], Any], want: Want = Want.TAKEN) -> Callable[[Draft], None]:
    return written("mount_date", lambda text: form(date.fromisoformat(text)), want)


def days_either_way(draft: Draft) -> None:
    """All days under 13, written 03/04/2024: the order is asked once."""
    for _, cell in draft.skis.cells("mount_date"):
        day, month = draft.draw.sample(range(1, 13), 2)
        cell.shown, cell.truth, cell.want = f"{day:02}/{month:02}/2024", None, Want.ASKED
    draft.topics.add("day order")


def day_unknown(form: Callable[[date], str]) -> Callable[[Draft], None]:
    """A month or a year only: no day; it stays unknown."""

    def do(draft: Draft) -> None:
        for _, cell in draft.skis.cells("mount_date"):
            if cell.truth is None:
                continue
            cell.shown, cell.truth, cell.want = form(date.fromisoformat(cell.truth)), None, Want.LEFT

    return do


def shell_for_a_sole(draft: Draft) -> None:
    """A boot's shell size stands where its sole should."""
    for row in draft.some(1, "boot"):
        row.cells["bsl_mm"] = Cell(row.cells["mondopoint"].truth, None, Want.ASKED)


def shells_for_soles(draft: Draft) -> None:
    """Shell sizes in the whole column of soles."""
    for _, cell in draft.boots.cells("bsl_mm"):
        cell.shown, cell.truth, cell.want = (
            round(draft.draw.choice((22.5, 24.5, 25.5, 26.5, 27.5)), 1),
            None,
            Want.ASKED,
        )


def shells_in_mm(draft: Draft) -> None:
    """The sole's column holds the shell size in millimetres (265 for 26.5): the column beside it shows it."""
    for row, cell in draft.boots.cells("bsl_mm"):
        if (size := row.cells["mondopoint"].truth) is not None:
            cell.shown, cell.truth, cell.want = int(size * 10), None, Want.ASKED


def size_system(sizes: Callable[[float], Any], header: str) -> Callable[[Draft], None]:
    """Sizes that are not Mondopoint: never taken as such."""

    def do(draft: Draft) -> None:
        draft.boots.headers["mondopoint"] = header
        for _, cell in draft.boots.cells("mondopoint"):
            if cell.truth is not None:
                cell.shown, cell.truth, cell.want = sizes(cell.truth), None, Want.LEFT

    return do


def dragged(draft: Draft) -> None:
    """Somebody dragged the first sole down: 306, 307, 308, with sizes that do not follow."""
    for at, (_, cell) in enumerate(draft.boots.cells("bsl_mm")):
        cell.shown, cell.truth, cell.want = 300 + at, None, Want.ASKED


def sole_and_shell(draft: Draft) -> None:
    """Shell and sole in one cell, as the shell has them printed."""
    for row, cell in draft.boots.cells("bsl_mm"):
        if cell.truth is not None and row.cells["mondopoint"].truth is not None:
            cell.shown, cell.want = f"{row.cells['mondopoint'].truth} / {cell.truth} mm", Want.EITHER


def other_units_mixed(draft: Draft) -> None:
    """One length in metres among centimetres."""
    for row in draft.some(2):
        cell = row.cells["length_cm"]
        cell.shown, cell.want = cell.truth / 100, Want.EITHER


def mojibake(draft: Draft) -> None:
    """Letters that went through a wrong encoding: mended and said, or asked; never kept as they are."""
    for row in draft.some(3):
        if row.cells["model"].truth != "\0any":  # else the length stands behind it
            row.cells["model"] = Cell("Höhenzug 88".encode().decode("cp1252"), "Höhenzug 88", Want.EITHER)
    if draft.language == "de":
        for table in draft.tables.values():
            table.headers = {
                key: text.encode().decode("cp1252", "replace") for key, text in table.headers.items()
            }
            table.soften(*table.headers)


def offset_column(header: str, sign: int, want: Want) -> Callable[[Draft], None]:
    """Where the boot centre was put, with a direction in the header."""

    def do(draft: Draft) -> None:
        draft.skis.headers["mark_offset_mm"] = header
        for at, row in enumerate(draft.skis.rows):
            offset = (-5, 0, 5, 10)[at % 4]
            row.cells["mark_offset_mm"] = Cell(offset * sign, offset, want)

    return do


def zone(draft: Draft) -> None:
    for key, text, value in (
        ("zone_back_mm", "Zone behind mark (mm)", 300),
        ("zone_front_mm", "Zone ahead of mark (mm)", 280),
        ("zone_half_width_mm", "Zone half width (mm)", 36),
    ):
        draft.skis.headers[key] = text
        tags = list(dict.fromkeys(row.tag for row in draft.skis.rows))
        for row in draft.skis.rows:
            place = value + tags.index(row.tag) % 3
            row.cells[key] = Cell(place, place, Want.EITHER)


def drilled_for(draft: Draft) -> None:
    """Old history in words: stated mounts, or asked about; no hole and no present sole comes of it."""
    draft.skis.drop("bsl_mm", "mount_date")
    draft.skis.extra["Drill history"] = [
        f"drilled for {row.cells['binding_model'].truth} {draft.draw.choice((295, 305, 315))}"
        for row in draft.skis.rows
    ]


def side_cut(draft: Draft) -> None:
    """The three widths in the waist's column: the middle one, or asked; never the tip's."""
    for _, cell in draft.skis.cells("waist_mm"):
        if cell.truth is not None:
            cell.shown, cell.want = f"{cell.truth + 38}-{cell.truth}-{cell.truth + 22}", Want.EITHER


def length_in_model(draft: Draft) -> None:
    """No length column; it stands behind the model's name: asked, or read from there; the model is what it was."""
    for row in draft.skis.rows:
        length, model = row.cells["length_cm"], row.cells["model"]
        model.shown, model.truth, model.want = f"{model.truth} / {length.truth} cm", None, Want.LEFT
        length.want = Want.EITHER
    draft.skis.drop("model", want=Want.LEFT)
    draft.skis.headers = {"tag": draft.skis.headers.pop("tag"), "model": "Ski + length", **draft.skis.headers}
    draft.skis.headers.pop("length_cm", None)
    for row in draft.skis.rows:
        row.cells["model"] = Cell(None, None, Want.LEFT)
        row.cells["model"].shown = f"Dohle 82 / {row.cells['length_cm'].truth} cm"
        row.cells["model"].want = Want.EITHER
        row.cells["model"].truth = "\0any"


def layout(how: str) -> Callable[[Draft], None]:
    def do(draft: Draft) -> None:
        draft.layout = how

    return do


def twins(*, kinds: bool) -> Callable[[Draft], None]:
    """The second half of the skis beside the first, under the same headers: two tables of one kind."""

    def do(draft: Draft) -> None:
        if not kinds:
            draft.skis.headers.pop("kind", None)
            for _, cell in draft.skis.cells("kind"):
                cell.truth, cell.want = None, Want.ASKED
        half = len(draft.skis.rows) // 2
        twin = Table(
            "ski",
            dict(draft.skis.headers),
            draft.skis.rows[half:],
            above=[[], *draft.skis.above][1:],
            extra={header: cells[half:] for header, cells in draft.skis.extra.items()},
        )
        draft.skis.rows = draft.skis.rows[:half]
        draft.skis.extra = {header: cells[:half] for header, cells in draft.skis.extra.items()}
        draft.tables["twin"] = twin
        draft.layout = "twins"

    return do


def wishes_beside(draft: Draft) -> None:
    """What the shop wants to have ready stands right of the skis, under a title: none of it is a pair's."""
    draft.layout = "beside a stranger"
    draft.skis.headers.pop("kind", None)
    for _, cell in draft.skis.cells("kind"):
        cell.truth, cell.want = None, Want.ASKED


def one_list(draft: Draft) -> None:
    """Skis and boots in one list, with a column that says which: split, or asked once."""
    draft.layout = "one list"
    for table in draft.tables.values():
        table.soften("tag")


def one_list_unsaid(draft: Draft) -> None:
    """Skis and boots in one list, and no column says which."""
    draft.layout = "one list, unsaid"
    for table in draft.tables.values():
        table.soften("tag")


def file_of(kind: str, **how: Any) -> Callable[[Draft], None]:
    """The file's type; a csv holds the skis alone."""

    def do(draft: Draft) -> None:
        draft.format, draft.csv = kind, how
        if kind == "csv":
            draft.tables = {"ski": draft.skis}
            draft.holes, draft.hole_grid, draft.strange = [], [], []

    return do


def _holes(
    draft: Draft, rename: dict[int, str], change: Callable[[list[Any]], list[Any]], want: Want
) -> None:
    plain_holes(draft, ours=not rename)
    head = list(draft.hole_grid[0])
    for at, text in rename.items():
        head[at] = text
    draft.hole_grid = [head, *(change(list(line)) for line in draft.hole_grid[1:])]
    draft.holes_want = want


def holes_scaled(x: str, y: str, factor: float, want: Want) -> Callable[[Draft], None]:
    """Places in another unit: said in the header, or not said and then asked."""
    return lambda draft: _holes(
        draft,
        {2: x, 3: y},
        lambda line: [*line[:2], round(line[2] * factor, 4), round(line[3] * factor, 4), *line[4:]],
        want,
    )


def holes_signed(x: str, y: str, x_sign: int, y_sign: int, want: Want) -> Callable[[Draft], None]:
    """Another direction of plus, said in the header."""
    return lambda draft: _holes(
        draft, {2: x, 3: y}, lambda line: [*line[:2], line[2] * x_sign, line[3] * y_sign, *line[4:]], want
    )


def holes_from_tail(header: str, want: Want) -> Callable[[Draft], None]:
    def do(draft: Draft) -> None:
        tails = {row.tag: row.cells["mark_from_tail_mm"].truth for row in draft.skis.rows}
        _holes(
            draft, {2: header}, lambda line: [*line[:2], line[2] + (tails.get(line[0]) or 0), *line[3:]], want
        )
        if any(tails.get(line[0]) is None for line in draft.hole_grid[1:]):
            draft.holes, draft.hole_grid = [], []

    return do


def holes_swapped(draft: Draft) -> None:
    """Across stands in the column that says along: 14 and -14 along a ski, in pairs 145 apart, is no binding."""
    _holes(draft, {}, lambda line: [*line[:2], line[3], line[2], *line[4:]], Want.ASKED)


def holes_side_words(a: str, b: str, want: Want) -> Callable[[Draft], None]:
    return lambda draft: _holes(
        draft, {}, lambda line: [line[0], a if line[1] == "A" else b, *line[2:]], want
    )


def holes_no_side(draft: Draft) -> None:
    """No column says which ski: asked."""
    plain_holes(draft, ours=True)
    kept = []
    for line, hole in zip(draft.hole_grid[1:], draft.holes, strict=True):
        if hole["ski"] == "A":
            kept.append([line[0], *line[2:]])
    draft.hole_grid = [[draft.hole_grid[0][0], *draft.hole_grid[0][2:]], *kept]
    draft.holes, draft.holes_want = [], Want.ASKED


def holes_both_in_a_row(draft: Draft) -> None:
    """Both skis in one row: ax, ay, bx, by."""
    by = {}
    for hole in draft.holes:
        by.setdefault((hole["pair_tag"], hole["x_mm"], hole["y_mm"]), []).append(hole)
    draft.hole_grid = [
        [
            "Pair tag",
            "A x (mm, + to tip)",
            "A y (mm, + right)",
            "B x (mm, + to tip)",
            "B y (mm, + right)",
            "Diameter (mm)",
            "Depth (mm)",
            "State",
            "knowledge",
        ]
    ]
    for (tag, x, y), both in by.items():
        draft.hole_grid.append(
            [
                tag,
                x,
                y,
                x,
                y,
                both[0]["diameter_mm"],
                both[0]["depth_mm"],
                both[0]["state"],
                both[0]["knowledge"],
            ]
        )
    draft.holes_want = Want.EITHER


def holes_ski_a_row(draft: Draft) -> None:
    """One ski a row: distances of the screw rows from the mark, and the width between the two screws."""
    rows: dict[tuple[str, str], list[float]] = {}
    for hole in draft.holes:
        if hole["y_mm"] > 0:
            rows.setdefault((hole["pair_tag"], hole["ski"]), []).append(hole["x_mm"])
    draft.hole_grid = [
        [
            "Pair tag",
            "Ski (A/B)",
            "Toe front from mark mm (+ tip)",
            "Toe rear from mark mm (+ tip)",
            "Heel front from mark mm (+ tip)",
            "Heel rear from mark mm (+ tip)",
            "Screw width mm",
        ]
    ]
    for (tag, ski), (one, two, three, four) in rows.items():
        draft.hole_grid.append([tag, ski, one, two, four, three, 28])
    draft.holes_want = Want.EITHER
    for hole in draft.holes:
        hole.update(diameter_mm=None, depth_mm=None, state="\0any", knowledge="\0any")


def holes_doubt(draft: Draft) -> None:
    """One place with a question mark: that hole is no hole at a place; its ski is asked about."""
    plain_holes(draft, ours=True)
    if len(draft.holes) < 3:
        return
    draft.hole_grid[3][2] = f"{draft.hole_grid[3][2]}?"
    del draft.holes[2]
    draft.holes_want = Want.EITHER


def holes_part_cm(draft: Draft) -> None:
    """The second pair's places are in centimetres, and nothing says so: the doubt is for all of the column."""
    if not draft.holes:
        return
    second = draft.holes[-1]["pair_tag"]
    _holes(
        draft,
        {2: "x", 3: "y"},
        lambda line: (
            [*line[:2], round(line[2] / 10, 3), round(line[3] / 10, 3), *line[4:]]
            if line[0] == second
            else line
        ),
        Want.ASKED,
    )


def two_of_a_name(draft: Draft) -> None:
    """The ski's and the binding's column are both called Model: read by what they hold, or asked."""
    draft.skis.headers["model"] = draft.skis.headers["binding_model"] = "Model"
    draft.skis.soften("model", "binding_model")


def counted_rows(draft: Draft) -> None:
    """No tags, but how many: pairs without a name cannot be in the ledger, so the sheet is asked about."""
    draft.skis.rows = draft.skis.rows[:4]
    for row in draft.skis.rows:
        row.cells = {key: Cell(cell.shown, cell.truth, Want.LEFT) for key, cell in row.cells.items()}
        row.want, row.tag = Want.LEFT, "?"
    draft.skis.headers.pop("tag")
    draft.skis.extra["Pairs"] = [3, 4, 6, 2]
    draft.holes, draft.hole_grid = [], []


def ski_a_row(draft: Draft) -> None:
    """Each ski has a row of its own, A and B under one tag: one pair, and its marks may differ."""
    rows = []
    for row in draft.skis.rows:
        for side in "AB":
            cells = {key: Cell(cell.shown, cell.truth, cell.want) for key, cell in row.cells.items()}
            cells["ski"] = Cell(side, None, Want.LEFT)
            rows.append(Row(row.tag, cells))
    draft.skis.rows = rows
    extra = draft.skis.extra.items()
    draft.skis.extra = {key: [value for value in values for _ in "AB"] for key, values in extra}
    draft.skis.headers = {**draft.skis.headers, "ski": "Ski (A or B)"}


def inspected(word: str, truth: str | None, want: Want) -> Callable[[Draft], None]:
    """A column that says who looked; only *bare* or *new* opens anything, and only where it is said."""

    def do(draft: Draft) -> None:
        draft.skis.headers["inspected"] = "Inspected"
        for row in draft.skis.rows:
            row.cells["inspected"] = Cell(word, truth, want)

    return do


def error_cells(draft: Draft) -> None:
    """What a spreadsheet writes where its formula failed: unknown, or asked."""
    for key in ("model", "waist_mm", "bsl_mm", "rack", "construction"):
        for row in draft.some(1):
            row.cells[key] = Cell(draft.draw.choice(("#REF!", "#N/A", "#NV", "#DIV/0!")), None, Want.LEFT)


def hole_words(word: str, state: str, want: Want) -> Callable[[Draft], None]:
    """The state in the shop's word."""

    def do(draft: Draft) -> None:
        _holes(draft, {}, lambda line: [*line[:6], word, *line[7:]], want)
        for hole in draft.holes:
            hole["state"] = state

    return do


def _eu(size: float) -> int:
    return round(size * 1.5 + 2)


def _roman(day: date) -> str:
    return f"{day.day}. {('I', 'II', 'III', 'IV', 'V', 'VI', 'VII', 'VIII', 'IX', 'X', 'XI', 'XII')[day.month - 1]}. {day.year}"


def _wide(value: Any) -> str:
    return str(value).translate({ord(c): ord(c) + 0xFEE0 for c in "0123456789."})


E, A, L, T = Want.EITHER, Want.ASKED, Want.LEFT, Want.TAKEN
HABITS: tuple[Habit, ...] = (
    # the words of the header
    *(
        Habit(f"headers in {name}", "language", "the plain header of each language is read", _english(name))
        for name in LANGUAGES
    ),
    *(
        Habit(
            f"other headers in {name}",
            "language",
            "another usual header: read, or asked",
            lambda d, n=name: speak(d, n, 1),
        )
        for name in LANGUAGES
    ),
    *(
        Habit(
            f"third headers in {name}",
            "language",
            "another usual header: read, or asked",
            lambda d, n=name: speak(d, n, 2),
        )
        for name in LANGUAGES[:5]
    ),
    Habit("headers misspelt", "spelling", "near: asked together, or read", misspelt),
    Habit("headers in capitals, with blanks and a colon", "spelling", "read", shouted),
    Habit("headers in two lines", "spelling", "read", two_line_headers),
    Habit("units in a second header row", "units", "read", unit_row),
    # units
    Habit("soles in cm, said", "units", "read", number_in("bsl_mm", 0.1, "BSL (cm)")),
    Habit("soles in cm, not said", "units", "30.6 may be a shell: asked", number_in("bsl_mm", 0.1, "BSL")),
    Habit("lengths in mm, said", "units", "read", number_in("length_cm", 10, "Length (mm)")),
    Habit(
        "lengths in mm, not said", "units", "read with a note, or asked", number_in("length_cm", 10, "Length")
    ),
    Habit("lengths in m, said", "units", "read", number_in("length_cm", 0.01, "Length (m)")),
    Habit("waist in cm, said", "units", "read", number_in("waist_mm", 0.1, "Waist (cm)")),
    Habit(
        "waist in cm, not said", "units", "read with a note, or asked", number_in("waist_mm", 0.1, "Waist")
    ),
    Habit("waist in inches, said", "units", "exactly 25.4 mm, or asked", in_inches),
    Habit(
        "tail to mark in cm, said",
        "units",
        "read",
        number_in("mark_from_tail_mm", 0.1, "Mark from tail (cm)"),
    ),
    Habit(
        "tail to mark in cm, not said",
        "units",
        "asked, or read with a note",
        number_in("mark_from_tail_mm", 0.1, "Mark from tail"),
    ),
    Habit(
        "one length in metres among centimetres", "length", "asked, or read with a note", other_units_mixed
    ),
    # numbers as they are typed
    Habit("decimal commas as text", "numbers", "read", everywhere(lambda v: str(v).replace(".", ","))),
    Habit("numbers as text", "numbers", "read", everywhere(str)),
    Habit("full-width figures", "numbers", "read", everywhere(_wide, E)),
    Habit("numbers with blanks about", "numbers", "read", everywhere(lambda v: f"\u00a0{v} ")),
    Habit("unit behind the number", "length", "read", written("length_cm", lambda v: f"{v} cm")),
    Habit("unit glued to the number", "length", "read", written("length_cm", lambda v: f"{v}cm")),
    Habit(
        "another unit behind each number",
        "length",
        "read, or asked",
        written("length_cm", lambda v: f"{v * 10} mm", E),
    ),
    Habit("brake as 90er", "brake", "read", written("brake_mm", lambda v: f"{v}er")),
    Habit("brake as B90", "brake", "read, or asked", written("brake_mm", lambda v: f"B{v}", E)),
    Habit(
        "a brake that is none",
        "brake",
        "none: there is no brake",
        cell_says("brake_mm", lambda d, c: "none", "none", E),
    ),
    Habit(
        "a brake of 0", "brake", "asked: none, or not known", cell_says("brake_mm", lambda d, c: 0, None, A)
    ),
    Habit(
        "a dash for the brake",
        "brake",
        "not known, never none",
        cell_says("brake_mm", lambda d, c: "-", None, L, many=3),
    ),
    Habit(
        "two brake widths in a cell", "brake", "asked", cell_says("brake_mm", lambda d, c: "85/95", None, A)
    ),
    Habit(
        "earlier mounts as 2x", "earlier", "read, or asked", written("earlier_mounts", lambda v: f"{v}x", E)
    ),
    Habit(
        "earlier mounts in words",
        "earlier",
        "unknown, never 0",
        cell_says("earlier_mounts", lambda d, c: d.draw.choice(("often", "many", "some")), None, L, many=3),
    ),
    Habit("no column of earlier mounts", "earlier", "unknown, never 0", no_column("earlier_mounts")),
    Habit("three widths for the waist", "waist", "the middle one, or asked", side_cut),
    Habit(
        "about 82",
        "waist",
        "asked, or left",
        cell_says("waist_mm", lambda d, c: f"ca. {c.truth}", None, L, many=2),
    ),
    Habit("82 or 84", "waist", "asked", cell_says("waist_mm", lambda d, c: "82 or 84", None, A)),
    # what is not known
    Habit("words for unknown", "unknown", "unknown, never a value", unknown_words),
    Habit("empty cells", "unknown", "unknown, never a value", blanks),
    Habit(
        "zeros for unknown",
        "unknown",
        "0 mm is no waist: asked or left",
        cell_says("waist_mm", lambda d, c: 0, None, L, many=3),
    ),
    Habit(
        "few columns",
        "columns",
        "the rest is unknown",
        no_column(
            "waist_mm",
            "construction",
            "brake_mm",
            "mount_date",
            "earlier_mounts",
            "mark_from_tail_mm",
            "rack",
        ),
    ),
    Habit("no kind column", "kind", "one question", no_kind),
    Habit("kind in block titles", "kind", "from the titles, or asked", kind_by_title),
    Habit("kind in the sheet's name", "kind", "evidence: one question", kind_by_sheet),
    # the core
    *(
        Habit(
            f"core: {word}", "core", "does not say whether there is metal: unknown or asked", said_core(word)
        )
        for word in ("wood", "wood/foam", "Holz", "foam cap", "bois", "carbon", "sandwich", "wood/ti")
    ),
    # gone
    *(
        Habit(f"a word of leaving in {key}", f"gone {key}", "the pair is asked about", words_of_leaving(key))
        for key in ("bsl_mm", "binding_model", "rack", "mount_date", "model", "brake_mm")
    ),
    Habit(
        "a status column",
        "gone",
        "the pairs that are gone are asked about",
        column_of_leaving("Status", "ok"),
    ),
    Habit(
        "a remarks column",
        "gone",
        "the pairs that are gone are asked about",
        column_of_leaving("Remarks", ""),
    ),
    Habit(
        "a column without a header",
        "gone",
        "the pairs that are gone are asked about",
        column_of_leaving("", ""),
    ),
    Habit("struck rows", "look", "asked", look("struck")),
    Habit("red rows under a legend", "look", "asked", look("red")),
    Habit("a comment on a cell", "look", "asked", look("comment")),
    Habit("a title over the gone", "title", "asked", gone_title),
    Habit("a sheet of the sold", "sheet", "asked", gone_sheet),
    # repeating
    Habit("ditto marks", "ditto", "the value above, or asked; never the mark", ditto),
    Habit("model only once a block", "ditto", "as above, asked, or unknown said aloud", model_once),
    Habit(
        "x for a model",
        "ditto",
        "asked",
        cell_says("model", lambda d, c: d.draw.choice(("x", "yes", "ja")), None, A, many=2),
    ),
    # tags
    Habit("one tag twice", "tags", "both are asked", twin_tags),
    Habit("tags as numbers, zeros in the hole sheet", "tags", "the same pair, or asked once", numeric_tags),
    Habit("tags with leading zeros as text", "tags", "kept", zero_tags),
    Habit("tags that became days", "tags", "asked", date_tags),
    Habit("two tags in a cell", "tags", "asked", two_tags),
    Habit("left and right as two rows", "tags", "asked", left_and_right),
    # days
    Habit("days as 12.11.2023", "days", "read", day_form(lambda d: f"{d.day}.{d.month}.{d.year}")),
    Habit("days as real dates", "days", "read", day_form(lambda d: datetime(d.year, d.month, d.day))),  # noqa: DTZ001
    Habit(
        "days as 23/11/2023",
        "days",
        "read: 23 is no month",
        day_form(lambda d: f"{d.day}/{d.month}/{d.year}"),
    ),
    Habit(
        "days as 11/23/2023",
        "days",
        "read: 23 is no month",
        day_form(lambda d: f"{d.month}/{d.day}/{d.year}"),
    ),
    Habit(
        "days as 23 Nov 2023",
        "days",
        "read",
        day_form(lambda d: f"{d.day} {('Oct', 'Nov', 'Dec')[d.month - 10]} {d.year}"),
    ),
    Habit(
        "days as 23.11.23",
        "days",
        "read, or asked",
        day_form(lambda d: f"{d.day}.{d.month}.{d.year % 100}", E),
    ),
    Habit("days with Roman months", "days", "read, or asked", day_form(_roman, E)),
    Habit(
        "days as serial numbers",
        "days",
        "read with a note, or asked",
        day_form(lambda d: (d - date(1899, 12, 30)).days, E),
    ),
    Habit("days that may be months", "days", "the order is asked once", days_either_way),
    Habit("months for days", "days", "no day is made up", day_unknown(lambda d: f"{d.month}/{d.year}")),
    Habit(
        "month names for days",
        "days",
        "no day is made up",
        day_unknown(lambda d: f"{('Oct', 'Nov', 'Dec')[d.month - 10]} {d.year}"),
    ),
    Habit("years for days", "days", "no day is made up", day_unknown(lambda d: str(d.year))),
    Habit("seasons for days", "days", "no day is made up", day_unknown(lambda d: f"autumn {d.year % 100}")),
    # soles and sizes
    Habit("a shell among soles", "soles", "asked", shell_for_a_sole),
    Habit(
        "a shell in mm among soles",
        "soles",
        "265 may be both; a size 29.5 is beside it: asked",
        cell_says("bsl_mm", lambda d, c: 225, None, A, kind="boot"),
    ),
    Habit(
        "an EU size among soles", "soles", "asked", cell_says("bsl_mm", lambda d, c: 42, None, A, kind="boot")
    ),
    Habit(
        "two soles in a cell",
        "soles",
        "asked",
        cell_says("bsl_mm", lambda d, c: "305/315", None, A, kind="boot"),
    ),
    Habit(
        "left 305, right 306",
        "soles",
        "asked",
        cell_says("bsl_mm", lambda d, c: "L 305 R 307", None, A, kind="boot"),
    ),
    Habit("two soles for a ski", "ski sole", "asked", cell_says("bsl_mm", lambda d, c: "305-315", None, A)),
    Habit("a shell for a ski's sole", "ski sole", "asked", cell_says("bsl_mm", lambda d, c: 27.5, None, A)),
    Habit("shells for all soles", "soles", "asked", shells_for_soles),
    Habit("shells in mm for all soles", "soles", "asked", shells_in_mm),
    Habit("dragged soles", "soles", "asked", dragged),
    Habit("shell and sole in a cell", "soles", "read, or asked", sole_and_shell),
    Habit("soles with mm", "soles", "read", written("bsl_mm", lambda v: f"{v} mm", T, "boot")),
    Habit("EU sizes, said", "sizes", "no Mondopoint", size_system(_eu, "Size EU")),
    Habit("EU sizes under size", "sizes", "no Mondopoint", size_system(_eu, "Size")),
    Habit("EU sizes under Mondopoint", "sizes", "no Mondopoint", size_system(_eu, "Mondopoint")),
    Habit("US sizes, said", "sizes", "no Mondopoint", size_system(lambda v: v - 18, "Size (US men)")),
    Habit("US sizes under size", "sizes", "no Mondopoint", size_system(lambda v: v - 18, "Size")),
    Habit("UK sizes under Mondo", "sizes", "no Mondopoint", size_system(lambda v: v - 19, "Mondo")),
    Habit(
        "shell sizes in mm",
        "sizes",
        "read, or asked",
        written("mondopoint", lambda v: int(v * 10), E, "boot"),
    ),
    Habit(
        "shell size as 26/26.5",
        "sizes",
        "asked, or left",
        written("mondopoint", lambda v: f"{v - 0.5}/{v}", E, "boot"),
    ),
    # the boot centre, the zone, the history
    Habit(
        "boot centre, + to the tip",
        "offset",
        "read",
        offset_column("Boot centre from mark (mm, + to tip)", 1, E),
    ),
    Habit(
        "boot centre, + to the tail",
        "offset",
        "turned round, or asked",
        offset_column("Boot centre from mark (mm, + to tail)", -1, E),
    ),
    Habit(
        "boot centre, behind is plus",
        "offset",
        "turned round, or asked",
        offset_column("mm behind mark", -1, E),
    ),
    Habit("a zone", "zone", "read, or asked", zone),
    Habit(
        "drill history in words",
        "history",
        "a stated mount, or asked; no sole and no hole of it",
        drilled_for,
    ),
    Habit("length behind the model", "length", "asked, or read", length_in_model),
    # holes
    Habit(
        "holes in cm, said",
        "holes",
        "read",
        holes_scaled("x from mark (cm, + to tip)", "y (cm, + right)", 0.1, E),
    ),
    Habit("holes in cm, not said", "holes", "asked, or read with a note", holes_scaled("x", "y", 0.1, E)),
    Habit("holes in cm under mm", "holes", "asked", holes_scaled("x (mm)", "y (mm)", 0.1, A)),
    Habit(
        "holes, + to the tail",
        "holes",
        "turned round, or asked",
        holes_signed("x from mark (mm, + to tail)", "y (mm, + right)", -1, 1, E),
    ),
    Habit(
        "holes, + to the left",
        "holes",
        "turned round, or asked",
        holes_signed("x from mark (mm, + to tip)", "y (mm, + left)", 1, -1, E),
    ),
    Habit(
        "holes seen from the tip",
        "holes",
        "turned round, or asked",
        holes_signed("x from mark (mm, + to tip)", "y (mm, + right, looking at the tail)", 1, -1, E),
    ),
    Habit("holes from the tail, said", "holes", "read, or asked", holes_from_tail("x from tail (mm)", E)),
    Habit("holes from the tail, not said", "holes", "asked", holes_from_tail("x (mm)", A)),
    Habit("holes with along and across swapped", "holes", "asked", holes_swapped),
    Habit("skis as left and right", "holes", "asked: which is A", holes_side_words("left", "right", A)),
    Habit("skis as 1 and 2", "holes", "asked: which is A", holes_side_words("1", "2", A)),
    Habit("holes without a side", "holes", "asked", holes_no_side),
    Habit("both skis in a row", "holes", "read, or asked", holes_both_in_a_row),
    Habit("one ski a row, distances and width", "holes", "read, or asked", holes_ski_a_row),
    Habit("a doubtful hole", "holes", "its ski is asked about", holes_doubt),
    Habit("a pair's holes in cm, not said", "holes", "asked for all", holes_part_cm),
    *(
        Habit(f"holes that are {word}", "holes", "read, or asked", hole_words(word, state, E))
        for word, state in (
            ("open", "open"),
            ("filled", "plugged"),
            ("zu", "plugged"),
            ("screw in", "screwed"),
            ("offen", "open"),
        )
    ),
    # the sheet's shape
    Habit("two columns called Model", "columns", "read by what they hold, or asked", two_of_a_name),
    Habit("pairs counted, without tags", "tags", "asked; none is made up", counted_rows),
    Habit("a ski a row", "tags", "one pair", ski_a_row),
    Habit("inspected: bare", "inspected", "read", inspected("bare", "bare", T)),
    Habit(
        "inspected: bare, and a zone",
        "inspected",
        "read",
        lambda d: (zone(d), inspected("bare", "bare", T)(d))[1],
    ),
    Habit("inspected: yes", "inspected", "asked: seen bare, or new", inspected("yes", None, A)),
    Habit("inspected: a name", "inspected", "asked, or left: it opens nothing", inspected("Ida", None, L)),
    Habit("error cells", "errors", "unknown, or asked", error_cells),
    Habit("titles above", "above", "read", titles_above),
    Habit("totals and a foot", "below", "no things", totals),
    Habit("blank rows", "between", "read", blank_rows),
    Habit("the header again", "between", "read", header_again),
    Habit("columns shuffled", "order", "read", shuffled),
    Habit("price and supplier", "extra", "left, and nothing else moves", price_columns),
    Habit("tables side by side", "layout", "read", layout("beside")),
    Habit("two tables of skis side by side", "layout", "read", twins(kinds=True)),
    Habit(
        "two tables of skis side by side, kinds unsaid",
        "layout",
        "read; the kind is asked",
        twins(kinds=False),
    ),
    Habit("what is wanted beside the skis", "layout", "none of it is a pair's", wishes_beside),
    Habit("tables side by side without a gap", "layout", "read, or asked", layout("touching")),
    Habit("one below the other", "layout", "read", layout("below")),
    Habit("one list with a column of what", "layout", "read, or asked once", one_list),
    Habit("one list, unsaid", "layout", "read, or asked once", one_list_unsaid),
    Habit("a table that begins at D7", "layout", "read", layout("moved")),
    Habit("customers", "strange", "nothing taken", strangers),
    Habit("a stocktake", "strange", "nothing taken", stocktake),
    Habit("damaged letters", "damage", "mended and said, or asked", mojibake),
    # files
    Habit("csv with semicolons", "file", "read", file_of("csv", delimiter=";")),
    Habit("csv with tabs", "file", "read", file_of("csv", delimiter="\t")),
    Habit("csv with bars", "file", "read", file_of("csv", delimiter="|")),
    Habit("csv with a sep line", "file", "read", file_of("csv", delimiter=";", first="sep=;")),
    Habit("csv in cp1252", "file", "read, or asked", file_of("csv", delimiter=";", encoding="cp1252")),
    Habit("csv in UTF-16", "file", "read", file_of("csv", delimiter="\t", encoding="utf-16")),
    Habit("csv with a mark at its start", "file", "read", file_of("csv", encoding="utf-8-sig")),
    Habit("csv with everything quoted", "file", "read", file_of("csv", quoting=1)),
    Habit("csv with lines ended by carriage returns", "file", "read", file_of("csv", lineterminator="\r")),
    Habit(
        "csv with delimiters at each line's end", "file", "read", file_of("csv", delimiter=";", trailing=3)
    ),
    Habit("an .ods file", "file", "read", file_of("ods")),
)
