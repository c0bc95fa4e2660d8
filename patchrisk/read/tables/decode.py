"""A file's bytes as text: encoding found or told, whatever is no text refused."""

import codecs
from dataclasses import dataclass
from pathlib import Path

from patchrisk.base.errors import Fault, InputError
from patchrisk.base.user_files import LONGEST_LINE, MOST_EXPORT_BYTES, check_line, read_file

EXPORT = "export the readings as CSV and name that file"

_BINARY = (
    (b"PK\x03\x04", "a workbook or another zip archive"),
    (b"\xd0\xcf\x11\xe0", "a workbook"),
    (b"SQLite format 3\x00", "a database"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a compressed archive"),
)
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_LOOK = 65536  # bytes looked at to tell text from anything else
_CONTROL = bytes(c for c in range(32) if c not in b"\t\n\r\f\x1a")


@dataclass(frozen=True)
class DecodedText:
    """A file as text with plain line ends, and the encoding it was read in."""

    text: str
    encoding: str


def read_text(
    path: Path, encoding: str | None = None, most_bytes: int | None = None
) -> DecodedText:
    """Read a text file in whichever encoding it was written.

    Parameters
    ----------
    encoding : str, optional
        A Python encoding name; found from the bytes when not given.
    most_bytes : int, optional
        A larger file is refused; `MOST_EXPORT_BYTES` when not given.

    Raises
    ------
    InputError
        When there is no such file, it is no ordinary one, empty, too large, no text, has a line
        longer than any table has, or is not in the encoding that was told.
    """
    return decode_text(read_bytes(path, most_bytes), str(path), encoding)


def read_bytes(path: Path, most_bytes: int | None = None) -> bytes:
    """Read a file whole, if it is an ordinary one and not too large."""
    if most_bytes is None:
        return read_file(path, MOST_EXPORT_BYTES, "export fewer years or a longer step")
    return read_file(path, most_bytes, "keep the older rows in a file of their own")


def decode_text(raw: bytes, source: str, encoding: str | None = None) -> DecodedText:
    """Turn bytes into text; see `read_text`."""
    if not raw.strip():
        raise InputError(Fault(source, "", "the file is empty", EXPORT))
    for signature, what in _BINARY:
        if raw.startswith(signature):
            raise InputError(Fault(source, "", f"this is {what}, not text", EXPORT))
    name = encoding or _guess(raw, source)
    try:
        text = raw.decode(name)
    except LookupError:
        cure = 'write one such as "utf-8", "cp1252" or "utf-16"'
        raise InputError(Fault(source, "encoding", f"unknown encoding {name!r}", cure)) from None
    except UnicodeError as error:
        raise InputError(_undecodable(raw, source, name, error)) from None
    text = text.removeprefix("\ufeff").rstrip("\x1a")
    text = text.replace("\0", "\ufffd")  # a number would be read up to the zero, as if whole
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    _refuse_long_lines(text, source)
    return DecodedText(text, name)


def _refuse_long_lines(text: str, source: str) -> None:
    """Find and refuse a line that is too long without parting the text into lines."""
    start = 0
    while start + LONGEST_LINE < len(text):
        end = text.rfind("\n", start, start + LONGEST_LINE + 1)
        if end < 0:
            line = text[start : start + LONGEST_LINE + 1]
            check_line(line, source, text.count("\n", 0, start) + 1)
        start = end + 1


def _guess(raw: bytes, source: str) -> str:
    for mark, name in _MARKS:
        if raw.startswith(mark):
            return name
    head = raw[:_LOOK]
    if b"\x00" in head:
        # Latin letters and digits in UTF-16 have a zero byte in every pair, always on one side.
        low, high = head[0::2].count(0) / len(head), head[1::2].count(0) / len(head)
        if high > 0.4 and low < 0.02:
            return "utf-16-le"
        if low > 0.4 and high < 0.02:
            return "utf-16-be"
    kept = head.translate(None, delete=_CONTROL)
    if len(kept) < 0.995 * len(head):
        raise InputError(Fault(source, "", "this is not a text file", EXPORT))
    for name in ("utf-8", "cp1252"):
        try:
            raw.decode(name)
        except UnicodeDecodeError:
            continue
        return name
    return "latin-1"


def _undecodable(raw: bytes, source: str, name: str, error: UnicodeError) -> Fault:
    if not isinstance(error, UnicodeDecodeError):
        return Fault(source, "encoding", f"the file is not {name}", "take the option out")
    line = raw[: error.start].count(b"\n") + 1
    byte = raw[error.start] if error.start < len(raw) else 0
    found = f"byte 0x{byte:02X} is not {name}"
    return Fault(source, f"line {line}", found, 'set encoding = "cp1252", or take the option out')
