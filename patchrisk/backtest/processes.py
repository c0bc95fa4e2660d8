"""A backtest over processes of this machine."""

import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import TYPE_CHECKING

from patchrisk.errors import Fault, InputError, UnavailableError

if TYPE_CHECKING:
    from patchrisk.backtest.run import Done, Job

GB_A_PROCESS = 0.8  # measured for the largest parts: tests/benchmarks/backtest_speed.py
GB_BESIDE = 0.35  # the process that hands out the parts and puts them together


def how_many(workers: int, memory_gb: float) -> int:
    """Return how many processes the memory allows.

    Raises
    ------
    InputError
        When it does not allow one, or none is asked for.
    """
    if workers < 1:
        raise InputError(Fault("--workers", "", str(workers), "write 1 or more"))
    most = int((memory_gb - GB_BESIDE) / GB_A_PROCESS)
    if most < 1:
        least = GB_BESIDE + GB_A_PROCESS
        raise InputError(
            Fault(
                "--memory", "", f"{memory_gb:g} GB", f"write {least:.1f} or more: one part's need"
            )
        )
    return min(workers, most)


def over_processes(jobs: Sequence["Job"], processes: int) -> Iterator["Done"]:
    """Judge parts in processes of their own, handing back each as it is done."""
    count = min(processes, len(jobs))
    # Not forked: threads of the libraries may be at work in this process.
    pool = ProcessPoolExecutor(count, get_context("spawn"), _leave_stopping_to_parent)
    waiting = iter(jobs)
    running: set[Future[Done]] = set()
    try:
        while True:
            with _stopping_held():
                for job in waiting:
                    running.add(pool.submit(job.run))
                    if len(running) > count:  # one more than run, so that none waits for work
                        break
            if not running:
                return
            done, running = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                yield future.result()
    except BrokenProcessPool:
        cure = "free some memory or give less with --memory, then give the same command again"
        raise UnavailableError(Fault("backtest", "", "a process was killed", cure)) from None
    finally:
        pool.shutdown(wait=True, cancel_futures=True)  # a part takes seconds


@contextmanager
def _stopping_held() -> Iterator[None]:
    """Hold Ctrl-C back for a moment; processes begun meanwhile leave it to this one."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows: they say that they were stopped
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _leave_stopping_to_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
