"""Text from data as it may be shown: nothing in it acts on a terminal, and a remark is one line."""

from __future__ import annotations


def one_line(text: str) -> str:
    """Return the text made harmless, each line break shown as a sign: a remark of three lines is one
    remark.
    """
    return harmless(text.replace("\r\n", "\n")).replace("\n", " ⏎ ").replace("\t", " ")


def harmless(text: str) -> str:
    """Return the text with control and bidirectional characters shown as a box; line breaks and tabs stay."""
    return "".join("\ufffd" if is_unruly(c) else c for c in text)


def is_unruly(char: str) -> bool:
    """Return whether a character acts on a terminal, or turns the order of what is read."""
    code = ord(char)
    return (
        (code < 0x20 and char not in "\n\t")
        or 0x7F <= code <= 0x9F
        or code in (0x061C, 0x200E, 0x200F, 0x2028, 0x2029, 0xFEFF)
        or 0x202A <= code <= 0x202E
        or 0x2066 <= code <= 0x2069
        or 0xD800 <= code <= 0xDFFF
    )
