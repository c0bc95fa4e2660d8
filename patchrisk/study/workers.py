"""A backtest over processes of this machine, or on a Dask cluster.

Workers of a cluster do the same parts with the same code as one machine, so the tables are the same
to the last bit. A worker that dies takes nothing with it: its part goes to another, and finished
parts are already in the folder. The source must be under the same path for every worker, and
patchrisk of the same version must be installed there.

How large a study needs it: a year of one site takes a core about a millisecond, all shipped
rules, verdicts and the soil model included (tests/benchmarks/README.md has the figures), so N
cores take

    sites x years / (3.6 million x N) hours,

and twice that with nine draws of the soil model's error.

10,000 sites over 40 years, 400,000 site-years, take two cores a few minutes. The 4-km cells of a
continent, some 500,000, over 40 years are 20 million site-years: six hours on one core, under an
hour on eight. A cluster pays beyond that: a hundred climate runs over the same cells are 2 billion
site-years, 23 days on one core and six hours on a hundred; or where the data lies on the cluster
anyway. The table has a row for each rule and season, 13 bytes of Parquet each: 0.3 GB for the
10,000 sites, 17 GB for the continent. Memory never needs it: a process takes no more for many
sites than for few.
"""

import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from itertools import islice
from math import ceil
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait as wait_for

from patchrisk.base.errors import Fault, InputError, UnavailableError
from patchrisk.study.plan import PartJob, PartResult

GB_A_PROCESS = 0.8  # measured for the largest parts: tests/benchmarks/backtest_speed.py
GB_BESIDE = 0.35  # the process that hands out the parts and puts them together


def how_many(workers: int, memory_gb: float) -> int:
    """Return how many processes the memory allows; InputError when none, or none is asked for."""
    if workers < 1:
        raise InputError(Fault("--workers", "", str(workers), "write 1 or more"))
    most = int((memory_gb - GB_BESIDE) / GB_A_PROCESS)
    if most < 1:
        least = ceil(10 * (GB_BESIDE + GB_A_PROCESS)) / 10
        cure = f"write {least:g} or more: one part's need"
        raise InputError(Fault("--memory", "", f"{memory_gb:g} GB", cure))
    return min(workers, most)


def judge(
    jobs: Sequence[PartJob], processes: int, scheduler: str | None = None
) -> Iterator[PartResult]:
    """Judge parts here, in processes, or on a cluster, handing back each as it is done."""
    if scheduler is not None:
        return over_cluster(jobs, scheduler)
    if min(processes, len(jobs)) > 1:
        return over_processes(jobs, processes)
    return (job.run() for job in jobs)


def over_processes(jobs: Sequence[PartJob], processes: int) -> Iterator[PartResult]:
    """Judge parts in processes of their own, handing back each as it is done."""
    count = min(processes, len(jobs))
    # Not forked: threads of the libraries may be at work in this process.
    pool = ProcessPoolExecutor(count, get_context("spawn"), _follow_parent)
    waiting = iter(jobs)
    running: set[Future[PartResult]] = set()
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


def _follow_parent() -> None:
    """Leave Ctrl-C to the parent, and end when it has ended, however that came about."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_after, args=(parent.sentinel,), daemon=True).start()


def _end_after(sentinel: int) -> None:
    wait_for([sentinel])
    os._exit(1)  # a killed parent leaves nobody to hand results to


ANSWER_S = 20.0  # how long a scheduler may take to answer
_AHEAD = 2  # parts handed out for each thread, so that none waits and few results pile up


def over_cluster(jobs: Sequence[PartJob], scheduler: str) -> Iterator[PartResult]:
    """Judge parts on the cluster of a running scheduler, handing back each as it is done.

    ``scheduler`` is its address, such as ``tcp://10.0.0.5:8786``. InputError when it does not
    answer, or ``distributed`` is not installed, or with the faults that a worker found in the data;
    UnavailableError when a part killed several workers, or a worker can't read the source.
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        cure = "install patchrisk[cluster], or leave the option out"
        raise InputError(
            Fault("--scheduler", "", "Dask's distributed is not installed", cure)
        ) from None
    try:
        opened = Client(scheduler, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        found = f"{scheduler} does not answer ({error})".split("\n")[0]
        cure = "write the address that the scheduler shows, such as tcp://10.0.0.5:8786"
        raise InputError(Fault("--scheduler", "", found, cure)) from None
    with opened as client:
        threads = sum(client.nthreads().values())
        waiting = iter(jobs)
        some = list(islice(waiting, _AHEAD * max(threads, 1)))
        try:
            running = as_completed([client.submit(job.run, pure=False) for job in some])
            for future in running:
                done: PartResult = future.result()
                for job in islice(waiting, 1):
                    running.add(client.submit(job.run, pure=False))
                yield done
        except KilledWorker:
            cure = "give the workers more memory; the same command goes on"
            raise UnavailableError(
                Fault("--scheduler", "", "several workers died on one part", cure)
            ) from None
        except OSError as error:
            cure = "keep the source under the same path for every worker"
            raise UnavailableError(
                Fault("--scheduler", "", f"a worker could not go on ({error})", cure)
            ) from None
