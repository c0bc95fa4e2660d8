"""Where the command begins, as ``patchrisk`` and as ``python -m patchrisk``.

Loading the rest takes a while, in which Ctrl-C is to end the command as quietly as later on. So
nothing is imported outside `main` but what Python has loaded by itself.
"""

import os
import sys

STOPPED = 130  # 128 + SIGINT, as shells say it

TYPE_CHECKING = False  # typing is slow to load
if TYPE_CHECKING:
    from types import FrameType


class _Stopping:
    """Listens for Ctrl-C: the first time it is raised, the second time the command is gone."""

    def __init__(self) -> None:
        self.asked = False

    def __call__(self, number: int, frame: "FrameType | None") -> None:
        if self.asked:
            os._exit(STOPPED)
        self.asked = True
        if _is_loading(frame):
            os.write(2, b"patchrisk: stopped\n")
            os._exit(STOPPED)
        raise KeyboardInterrupt


def _is_loading(frame: "FrameType | None") -> bool:
    """Whether a module is being loaded: one of compiled code can crash where that is cut short."""
    while frame is not None:
        if frame.f_code.co_filename.startswith("<frozen importlib"):
            return True
        frame = frame.f_back
    return False


def main() -> None:
    """Run the command; once stopped, end with 130 and at most a line, whatever came of it."""
    stopping = _Stopping()
    listens = False
    usual = sys.unraisablehook
    try:
        import signal

        # A shell's job in the background ignores Ctrl-C, and is to go on doing so.
        listens = signal.getsignal(signal.SIGINT) is signal.default_int_handler
        if listens:
            signal.signal(signal.SIGINT, stopping)
            # Where Python can't raise, as while a module's objects are cleared away, it prints.
            sys.unraisablehook = lambda what: None if stopping.asked else usual(what)
        from patchrisk.cli import main as command

        command(prog_name="patchrisk")
    except BaseException as error:
        if not stopping.asked and not isinstance(error, KeyboardInterrupt):
            raise
        stopping.asked = True  # from here on, a second Ctrl-C ends it at once
        # What ends with another code has told why; Python may also lose the interrupt where it
        # can't raise, and the command come to its end.
        if not isinstance(error, SystemExit) or not error.code:
            sys.stderr.write("patchrisk: stopped\n")
        raise SystemExit(STOPPED) from None
    finally:
        if listens:  # what Python takes down after this can't be cut short by code of ours
            signal.signal(signal.SIGINT, signal.SIG_DFL)


if __name__ == "__main__":
    main()
