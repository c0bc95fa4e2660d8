"""Answers changed at random: a document here and there, a table's cells, bytes anywhere."""

import copy
import json
import random
from typing import Any

from hypothesis import strategies as st

ODD_VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    -1,
    1,
    1.5,
    1e308,
    -1e308,
    10**400,
    -(10**30),
    "",
    " ",
    "12.5",
    "NaN",
    "nan",
    "Infinity",
    "null",
    "é",
    "\x00",
    "\ud800",
    "\u202e",
    "x" * 100_000,
    [],
    [[]],
    [1, 2],
    {},
    {"a": {}},
    "1900-01-01T00:00:00+00:00",
    "9999-12-31T23:59:59+00:00",
    "0001-01-01T00:00:00+14:00",
    "2026-05-18T00:00:00",
    "2026-05-18",
    "2026-05-18T00:00:00+00:00/P99D",
    "2026-05-18T00:00:00+00:00/PT9999M",
    "2026-05-18T00:00:00+00:00/PT0H",
    "2026-05-18T00:00:00+00:00/P1Y",
    "wmoUnit:K",
    "wmoUnit:degF",
    "kelvin",
    "inch",
    "../../x",
    "ILN/80,77",
)


def places(data: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place in a document; of a long list, some rows stand for all."""
    found = [at] if at else []
    if isinstance(data, dict):
        for key, value in data.items():
            found += places(value, (*at, key))
    elif isinstance(data, list):
        for n in sorted({0, 1, 2, len(data) // 2, len(data) - 1} & set(range(len(data)))):
            found += places(data[n], (*at, n))
    return found


def parent_of(data: Any, at: tuple[Any, ...]) -> Any:
    for key in at[:-1]:
        data = data[key]
    return data


def rearranged(data: Any, draw: Any) -> Any:
    """A document with rows left out, doubled, turned round or moved, and no value changed.

    Bare numbers stay where they are: which of them belongs to which hour is their place alone.
    """
    data = copy.deepcopy(data)
    lists = [
        at
        for at in places(data)
        if isinstance(rows := parent_of(data, at)[at[-1]], list) and isinstance(rows[0], dict | str)
    ]
    rows = parent_of(data, at := draw(st.sampled_from(lists)))[at[-1]]
    n = draw(st.integers(0, len(rows) - 1))
    how = draw(st.sampled_from(["drop", "double", "reverse", "swap", "cut", "again", "rotate"]))
    if how == "drop":
        del rows[n]
    elif how == "double":
        rows.insert(n, rows[n])
    elif how == "reverse":
        rows.reverse()
    elif how == "swap":
        rows[n], rows[0] = rows[0], rows[n]
    elif how == "cut":
        del rows[n:]
    elif how == "again":
        rows += rows
    else:
        rows[:] = rows[n:] + rows[:n]
    return data


def changed(data: Any, draw: Any) -> Any:
    """A document with one to three values put in the place of others, or keys taken out."""
    data = copy.deepcopy(data)
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.sampled_from(places(data)))
        holder = parent_of(data, at)
        what = draw(st.sampled_from(["put", "put", "put", "drop", "many"]))
        if what == "put":
            holder[at[-1]] = draw(st.sampled_from(ODD_VALUES))
        elif what == "drop":
            del holder[at[-1]]
        elif isinstance(holder[at[-1]], list):
            holder[at[-1]] = holder[at[-1]] * draw(st.sampled_from([0, 2, 300]))
        if not places(data):
            break
    return data


def spoilt(body: bytes, draw: Any) -> bytes:
    """Bytes turned, cut out, put in, or the end missing."""
    # One number for hypothesis to draw, many places from it: a body is long.
    chance = random.Random(draw(st.integers(0, 2**32)))
    raw = bytearray(body)
    for _ in range(chance.choice([1, 1, 2, 5, 50])):
        if not raw:
            break
        at = chance.randrange(len(raw))
        how = chance.choice(["turn", "zero", "cut", "put", "end", "block"])
        if how == "turn":
            raw[at] ^= 1 << chance.randrange(8)
        elif how == "zero":
            raw[at : at + chance.choice([1, 16, 600])] = b"\x00"
        elif how == "cut":
            del raw[at : at + chance.choice([1, 16, 600])]
        elif how == "put":
            raw[at:at] = chance.choice([b'"', b"{", b"[" * 2000, b",", b"9" * 400, b"\xff", b"\n"])
        elif how == "end":
            del raw[at:]
        else:
            raw[at : at + 4096] = bytes(chance.randrange(256) for _ in range(64)) * 64
    return bytes(raw)


def as_json(data: Any) -> bytes:
    return json.dumps(data).encode(errors="surrogatepass")
