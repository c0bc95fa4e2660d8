"""Days as bits: yes or no of 64 days of a lane in one machine word.

A packed array is (words, lanes...) of uint64; bit b of word w is day 64 w + b. What a rule asks
of each day is answered once by comparison; everything after that, runs, openings, counts, works
on 64 days at a time.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from patchrisk.base.units import BoolArray, IntArray
from patchrisk.core.counters.arrays import PIECE

Bits = npt.NDArray[np.uint64]

WORD = 64
CHUNK = 4 * PIECE  # numbers worked on at once: calls cost as much as memory here (measured)
ALL = np.uint64(2**64 - 1)
_ONE = np.uint64(1)


def pack(flags: BoolArray) -> Bits:
    """Pack (64 words, lanes) of flags into (words, lanes) of bits."""
    lanes = flags.shape[1]
    # Flags are bytes of 0 and 1, so eight of them can be moved as one number.
    bits: npt.NDArray[Any] = flags.view(np.uint8 if lanes % 8 else np.uint64)
    for shift in (1, 2, 4):
        high = bits[1::2] << bits.dtype.type(shift)
        high |= bits[0::2]
        bits = high
    eight = bits.view(np.uint8).reshape(-1, 8, lanes).transpose(0, 2, 1)
    return np.ascontiguousarray(eight).view("<u8")[..., 0].astype(np.uint64, copy=False)


def set_days(bits: Bits) -> tuple[IntArray, IntArray]:
    """Lane and day of every bit set in (words, lanes), lane by lane, each in order of day."""
    by_lane = np.ascontiguousarray(bits.T).astype("<u8", copy=False).reshape(-1)
    some = np.flatnonzero(by_lane)  # few words where few days are missing
    flat = np.flatnonzero(np.unpackbits(by_lane[some].view(np.uint8), bitorder="little"))
    place, bit = np.divmod(flat, WORD)
    lane, word = np.divmod(some[place], bits.shape[0])
    return lane, WORD * word + bit


def later(bits: Bits, days: int) -> Bits:
    """Move every bit to a later day; zeros come in at the start."""
    words, rest = divmod(days, WORD)
    out = np.zeros_like(bits)
    kept = bits[: max(len(bits) - words, 0)]
    if not len(kept):
        return out
    if not rest:
        out[words:] = kept
        return out
    np.left_shift(kept, np.uint64(rest), out=out[words:])
    out[words + 1 :] |= kept[:-1] >> np.uint64(WORD - rest)
    return out


def in_a_row(bits: Bits, days: int) -> Bits:
    """Days that, with the days before them, make so many in a row."""
    out, have = bits, 1
    while have < days:
        step = min(have, days - have)
        out = out & later(out, step)
        have += step
    return out


def first_days(count: npt.NDArray[Any]) -> Bits:
    """Bits of the first ``count`` days of a word, 0 to 64."""
    few = np.clip(count, 0, WORD - 1).astype(np.uint64)
    return np.where(count >= WORD, ALL, (_ONE << few) - _ONE)


def stretches(bits: Bits, start: IntArray, words: int) -> Bits:
    """Cut out stretches of days, each moved to begin at bit 0.

    Parameters
    ----------
    bits : array, (words, lanes)
    start : array of int, (stretches,)
        First day of each stretch; so far from the end that the words are there.
    words : int
        Words of each stretch.

    Returns
    -------
    array, (words, stretches, lanes)
    """
    word, shift = np.divmod(start, WORD)
    at = word + np.arange(words)[:, None]
    right = shift.astype(np.uint64)[:, None]
    out = bits[at]
    out >>= right
    # Two steps, since to shift by all 64 places is not defined.
    above = bits[at + 1] << _ONE
    above <<= np.uint64(WORD - 1) - right
    out |= above
    return out


def latch(opens: Bits, stops: Bits) -> Bits:
    """Days from each that opens to the day before the next that stops; stopping wins.

    Within a word, adding an opening to the days that may stay open carries through them up to
    the next stop, and what the carry changed is what is open.
    """
    out = np.empty_like(opens)
    carried = np.zeros(opens.shape[1:], dtype=np.uint64)
    for opens_, stops_, open_ in zip(opens, stops, out, strict=True):
        free = ~stops_
        begin = (opens_ | carried) & free
        np.bitwise_or(begin, free & ~(free + begin), out=open_)
        carried = open_ >> np.uint64(WORD - 1)
    return out


def first(bits: Bits) -> IntArray:
    """Day of the first bit set; -1 where there is none; (words, ...) to (...)."""
    out = np.full(bits.shape[1:], -1, dtype=np.int64)
    for n in range(len(bits) - 1, -1, -1):
        word = bits[n]
        lowest = word & (~word + _ONE)
        day = WORD * n + np.bitwise_count(lowest - _ONE).astype(np.int64)
        np.copyto(out, day, where=word != 0)
    return out


def last(bits: Bits) -> IntArray:
    """Day of the last bit set; -1 where there is none; (words, ...) to (...)."""
    word = len(bits) - 1 - (bits[::-1] != 0).argmax(axis=0)
    below = np.take_along_axis(bits, word[None], axis=0)[0]
    there = below != 0
    for shift in (1, 2, 4, 8, 16, 32):
        below = below | (below >> np.uint64(shift))
    day = WORD * word - 1 + np.bitwise_count(below).astype(np.int64)
    return np.where(there, day, -1)


def popcount(bits: Bits) -> IntArray:
    """How many bits are set; (words, ...) to (...)."""
    total: IntArray = np.bitwise_count(bits).sum(axis=0, dtype=np.int64)
    return total
