"""Files written whole or not at all."""

import contextlib
import os
import tempfile
from pathlib import Path

from patchrisk.errors import Fault, UnavailableError


def write_text(path: Path, text: str) -> None:
    """Write a UTF-8 text file; see `write_bytes`."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write a file so that readers see the old one or the new one, never a part.

    Raises
    ------
    UnavailableError
        When the folder is missing or can't be written to, or the disk is full.
    """
    scratch = None
    try:
        handle, scratch = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        umask = os.umask(0)
        os.umask(umask)
        Path(scratch).chmod(0o666 & ~umask)
        Path(scratch).replace(path)
    except OSError as error:
        if scratch is not None:
            with contextlib.suppress(OSError):
                Path(scratch).unlink()
        reason = (error.strerror or str(error)).lower()
        raise UnavailableError(
            Fault(str(path), "", f"can't write it ({reason})", "name a folder you may write to")
        ) from None
