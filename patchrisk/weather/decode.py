"""A file's bytes as text: encoding found or told, whatever is no text refused."""

import codecs
from dataclasses import dataclass
from pathlib import Path

from patchrisk.errors import Fault, InputError, unreadable

# Five years of minutes with a dozen columns; more is no logger's export.
MAX_BYTES = 200_000_000

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
class Text:
    """A file as text with plain line ends, and the encoding it was read in."""

    text: str
    encoding: str


def read_text(path: Path, encoding: str | None = None) -> Text:
    """Read a text file in whichever encoding it was written.

    Parameters
    ----------
    path : Path
    encoding : str, optional
        A Python encoding name; found from the bytes when not given.

    Raises
    ------
    InputError
        When there is no such file, it is a folder, empty, too large, no text, or not in the
        encoding that was told.
    """
    return decode(read_bytes(path), str(path), encoding)


def read_bytes(path: Path) -> bytes:
    """Read a file whole, if it is there and not too large."""
    source = str(path)
    try:
        if path.is_dir():
            raise InputError(Fault(source, "", "this is a folder", "name the file inside it"))
        size = path.stat().st_size
        if size > MAX_BYTES:
            found = f"{size / 1e6:.0f} MB, more than {MAX_BYTES / 1e6:.0f} MB"
            raise InputError(Fault(source, "", found, "export fewer years or a longer step"))
        return path.read_bytes()
    except OSError as error:
        raise InputError(unreadable(path, error)) from None


def decode(raw: bytes, source: str, encoding: str | None = None) -> Text:
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
    return Text(text, name)


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
