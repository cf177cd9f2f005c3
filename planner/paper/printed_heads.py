"""The heads that stand on sheets kept as PDF: the outside anchor, read in bulk."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from fleet.audit.heads import KeptHead
from fleet.base.entries import Head

_FULL: Final = re.compile(r"HEAD (\d{1,15}):([0-9A-Fa-f]{64})")
_PRINTED: Final = re.compile(r"ledger (\d{1,15}):([0-9a-f]{8})\b")


def heads_of_sheets(folder: Path) -> Iterator[KeptHead]:
    """Yield each head on the sheets in a folder and below it, once a file; a file that is no PDF says so."""
    import pypdfium2

    for path in sorted(folder.rglob("*.pdf")):
        try:
            with pypdfium2.PdfDocument(path) as document:
                text = document.get_metadata_value("Keywords")
                found = _FULL.findall(text) or _PRINTED.findall(
                    "\n".join(page.get_textpage().get_text_bounded() for page in document)
                )
        except (pypdfium2.PdfiumError, OSError) as fault:
            yield KeptHead(head=Head(0, ""), place=f"{path}", fault=f"cannot be read as a PDF: {fault}")
            continue
        for seq, digits in dict.fromkeys(found):
            yield KeptHead(head=Head(int(seq), digits.lower()), place=str(path))
