"""How matplotlib is let draw: what a user called something is never markup to it, nor a warning."""

import logging
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any, cast

_TEXT = {"text.parse_math": False, "text.usetex": False}


@contextmanager
def drawing(style: Mapping[str, Any] | None = None) -> Iterator[None]:
    """Draw and save in a known style, and leave the user's own settings as they were.

    Text is text: a dollar in a name begins no formula. A character that no font here has is
    shown as a box, without a word on the screen.

    Parameters
    ----------
    style : mapping, optional
        Settings of matplotlib's over its defaults.
    """
    import matplotlib as mpl

    quiet = logging.getLogger("matplotlib")
    level = quiet.level
    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(cast("Any", {**(style or {}), **_TEXT}))
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        warnings.filterwarnings("ignore", message="Matplotlib currently does not support")
        warnings.filterwarnings("ignore", message="constrained_layout not applied")
        quiet.setLevel(logging.ERROR)
        try:
            yield
        finally:
            quiet.setLevel(level)
