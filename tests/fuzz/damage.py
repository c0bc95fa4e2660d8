"""Files changed at random: bytes anywhere, lines moved, and cells and values made odd."""

import random
import re

ODD_CELLS = (
    "", " ", "0", "-0", "1e308", "-1e400", "9" * 400, "1_000", "0x10", "1,5", "1.234,5", "NaN",
    "inf", "true", "None", "today", "2025-13-01", "2025-02-30", "0001-01-01", "9999-12-31", "1/2/3",
    "2025-04-01T00:00:00+02:00", "2025-04-01 24:00", "١٢", "１２", "12°C", "½", "=1+1", "'=1",
    '"', '""', '"a', "a\"b", "a,b", "\x00", "\x1b[2J", "\u202e", "\ufeff", "\u2028", "\x85", "é",
    "a\tb", "a;b", "x" * 5000, "y" * 140_000, "Greens", "summer-patch", "11", "%s", "{}", "../..",
)  # fmt: skip
ODD_VALUES = (
    "1", "-1", "1e400", "nan", "-inf", "9" * 400, "9" * 5000, "true", '""', '"x"', "[]", "[[]]",
    "{}", "{a={}}", '[1, "a"]', "2026-05-18", "07:00:00", '"\\u0000"', '"\\u001b[2J"', '"\\u202e"',
    "'''", '"' + "x" * 5000 + '"', "[" * 2000, "{a=" * 2000, "0x7fffffffffffffffff", '"+99:99"',
    '"5 parsec"', '"../../../etc/passwd"', '"/dev/zero"', '"."', '"~"', "[" + "1," * 1500 + "]",
    "1979-13-45", "",
)  # fmt: skip
_ENCODINGS = ("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "cp1252", "utf-7", "cp037", "utf-32")
_VALUE = re.compile(r"(?<== )[^\n]+")


def damage(good: str, seed: int) -> bytes:
    """Do one to three things to a file; the same seed does the same."""
    chance = random.Random(seed)
    text = good
    for _ in range(chance.choice((1, 1, 2, 3))):
        text = chance.choice(_KINDS)(text, chance)
    raw = text.encode("utf-8", "surrogatepass")
    how = chance.random()
    if how < 0.1:
        raw = text.encode(chance.choice(_ENCODINGS), "replace")
    elif how < 0.25:
        raw = _bytes(raw, chance)
    return raw


def _cell(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    n = chance.choice((0, 1, 2, chance.randrange(len(lines))))
    n = min(n, len(lines) - 1)
    cells = lines[n].split(",")
    for _ in range(chance.choice((1, 1, 3))):
        cells[chance.randrange(len(cells))] = chance.choice(ODD_CELLS)
    lines[n] = ",".join(cells)
    return "\n".join(lines)


def _column(text: str, chance: random.Random) -> str:
    """One column's cells made odd, dropped, doubled or exchanged in every line."""
    rows = [line.split(",") for line in text.split("\n")]
    at, other = chance.randrange(len(rows[0])), chance.randrange(len(rows[0]))
    how, odd = (
        chance.choice(("odd", "drop", "double", "swap", "name")),
        chance.choice(ODD_CELLS[:45]),
    )
    for n, row in enumerate(rows):
        if max(at, other) >= len(row):
            continue
        if how == "odd" and n:
            row[at] = odd
        elif how == "drop":
            del row[at]
        elif how == "double":
            row.insert(other, row[at])
        elif how == "swap":
            row[at], row[other] = row[other], row[at]
        elif how == "name" and not n:
            row[at] = chance.choice((row[other], "", odd))
    return "\n".join(",".join(row) for row in rows)


def _value(text: str, chance: random.Random) -> str:
    found = list(_VALUE.finditer(text))
    if not found:
        return _cell(text, chance)
    match = chance.choice(found)
    return text[: match.start()] + chance.choice(ODD_VALUES) + text[match.end() :]


def _lines(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    n, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    how = chance.choice(("drop", "double", "swap", "blank", "cut", "again", "shuffle", "first"))
    if how == "drop":
        del lines[n]
    elif how == "double":
        lines.insert(other, lines[n])
    elif how == "swap":
        lines[n], lines[other] = lines[other], lines[n]
    elif how == "blank":
        lines[n:n] = [""] * chance.choice((1, 3))
    elif how == "cut":
        del lines[n:]
    elif how == "again":
        lines += lines
    elif how == "shuffle":
        chance.shuffle(lines)
    else:
        lines = lines[n:]
    return "\n".join(lines)


def _insert(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    what = chance.choice(
        (*ODD_CELLS[:46], '"', "\n", "\r", ",", ";", "\t", "[[area]]\n", "a" * 120_000)
    )
    return text[:at] + what + text[at:]


def _marks(text: str, chance: random.Random) -> str:
    """Another delimiter, decimal mark, line end or way to write a date throughout."""
    return chance.choice(
        (
            lambda t: t.replace(",", ";"),
            lambda t: t.replace(",", "\t"),
            lambda t: t.replace(".", ","),
            lambda t: t.replace(",", ";").replace(".", ","),
            lambda t: t.replace("\n", "\r\n"),
            lambda t: t.replace("\n", "\r"),
            lambda t: t.replace("\n", "\n\n"),
            lambda t: t.replace(",", ", "),
            lambda t: re.sub(r"(\d{4})-(\d\d)-(\d\d)", r"\3/\2/\1", t),
            lambda t: re.sub(r"(\d{4})-(\d\d)-(\d\d)", r"\2/\3/\1", t),
            lambda t: re.sub(r"(\d\d:\d\d),", r"\1:00+02:00,", t),
            lambda t: re.sub(r"(?m)^([^,\n]*),", r'"\1",', t),
        )
    )(text)


def _bytes(raw: bytes, chance: random.Random) -> bytes:
    out = bytearray(raw)
    for _ in range(chance.choice((1, 2, 20))):
        if not out:
            break
        at = chance.randrange(len(out))
        how = chance.choice(("turn", "zero", "cut", "put"))
        if how == "turn":
            out[at] ^= 1 << chance.randrange(8)
        elif how == "zero":
            out[at : at + chance.choice((1, 600))] = b"\x00"
        elif how == "cut":
            del out[at : at + chance.choice((1, 16, 600))]
        else:
            out[at:at] = chance.choice(
                (b"\xff", b"\xfe\xff", b"\x80", b"\x1a", b"\n", b"\xed\xa0\x80")
            )
    return bytes(out)


_KINDS = (_cell, _cell, _column, _value, _value, _lines, _insert, _marks)


# Cases that once held a reader up, or broke it: each is made of a good file.
NAMED = {
    "empty": lambda good: b"",
    "zeros": lambda good: b"\x00" * 1000,
    "line ends": lambda good: b"\n" * 100_000,
    "one letter": lambda good: b"a" * 200_000,
    "one quoted cell": lambda good: b'"' + b"a" * 200_000 + b'"\n1,2\n',
    "a million commas": lambda good: good + b"," * 1_000_000,
    "a million columns": lambda good: b"date" + b",x" * 1_000_000 + b"\n" + good,
    "columns enough": lambda good: b"".join(
        line + b",1" * 40_000 + b"\n" for line in good.splitlines()[:20]
    ),
    "one long cell": lambda good: good + b"x" * 131_073 + b"\n",
    "utf-16": lambda good: good.decode().encode("utf-16"),
    "a mark": lambda good: b"\xef\xbb\xbf" + good,
    "deep lists": lambda good: b"a = " + b"[" * 500_000,
    "deep tables": lambda good: b"a = " + b"{b=" * 500_000,
    "deep keys": lambda good: b"a" + b".a" * 500_000 + b" = 1",
    "a huge number": lambda good: b"a = " + b"9" * 100_000,
    "many areas": lambda good: b"[[area]]\n" * 100_000,
    "many products": lambda good: b'[[product]]\nname = "a"\n' * 50_000,
    "many keys": lambda good: b"".join(b"k%d = 1\n" % n for n in range(100_000)),
    "many tables": lambda good: b"".join(b"[a.b%d.c]\n" % n for n in range(100_000)),
    "many rows": lambda good: good + b"2025-04-01 00:00,1,1\n" * 4_100_000,
    "twenty times": lambda good: good * 20,
    "quotes": lambda good: good.replace(b",", b',"', 7),
    "one quote": lambda good: good + b'"',
    "a database": lambda good: b"SQLite format 3\x00" + good,
}
