"""A table in a text file: in which letters it is written and what parts its cells."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from reachrank.errors import InputError

_SEPARATORS = (",", ";", "\t", "|")
_LOOKED_AT = 200
_MOST_BYTES = 200_000_000


def read_text_table(path: str | Path) -> tuple[list[list[str]], list[str]]:
    """Return the rows of a text table, every cell as text, and notes on how it was read.

    Raises
    ------
    InputError
        For a file that is not text, too large, or broken.
    """
    where = str(path)
    try:
        if Path(path).stat().st_size > _MOST_BYTES:
            raise InputError("The table is larger than 200 MB.", where=where)
        data = Path(path).read_bytes()
    except OSError as error:
        raise InputError(f"The file cannot be read: {error.strerror}.", where=where) from error
    text, note = decode(data, where)
    separator = separator_of(text)
    try:
        csv.field_size_limit(10_000_000)
        rows = [
            [cell.strip() for cell in row]
            for row in csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        ]
    except csv.Error as error:
        raise InputError(f"The table is broken: {error}.", where=where) from error
    return rows, [note] if note else []


def decode(data: bytes, where: str) -> tuple[str, str]:
    """Return bytes as text, and a note where they are not Unicode.

    Unicode is known by its mark or by being valid UTF-8, which other text hardly ever is; else it
    is read as Windows-1252, the letters of older office programs.

    >>> decode("Müller".encode("cp1252"), "a.csv")
    ('Müller', 'It is not Unicode; its letters were read as Windows-1252.')
    """
    for mark, name in ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"),
                       (b"\xfe\xff", "utf-16")):  # fmt: skip
        if data.startswith(mark):
            try:
                return data.decode(name), ""
            except UnicodeDecodeError as error:
                raise InputError("The file is broken text.", where=where) from error
    if b"\0" in data:
        raise InputError(
            "This is not a text file.", hint="Save it as CSV or as .xlsx.", where=where
        )
    try:
        return data.decode("utf-8"), ""
    except UnicodeDecodeError:
        # five bytes have no letter in Windows-1252; they become the mark for an unknown letter
        text = data.decode("cp1252", errors="replace")
        return text, "It is not Unicode; its letters were read as Windows-1252."


def separator_of(text: str) -> str:
    r"""Return the sign that parts the cells: the one that parts most lines into as many.

    >>> separator_of("id;x;y\n1;498459,1;4817885,1\n"), separator_of("a,b\n1,2\n")
    (';', ',')
    """
    lines = text[:400_000].splitlines()[:_LOOKED_AT]
    best = (0, 0)
    found = ","
    for separator in _SEPARATORS:
        try:
            counts = [len(row) for row in csv.reader(lines, delimiter=separator) if row]
        except csv.Error:
            continue
        several = [count for count in counts if count > 1]
        if not several:
            continue
        usual = max(set(several), key=lambda n: (several.count(n), n))
        score = (several.count(usual), usual)
        if score > best:
            best, found = score, separator
    return found
