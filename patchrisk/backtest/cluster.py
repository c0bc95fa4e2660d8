"""A backtest on a Dask cluster: an existing one, or processes of its own on this machine.

The workers do the same parts with the same code as one machine does, so the tables are the same
to the last bit. A worker that dies takes nothing with it: its part goes to another, and finished
parts are already in the folder. The source must be under the same path for every worker, and
patchrisk of the same version must be installed there.

How large a study needs it: a year of one site takes a core some 0.7 milliseconds, all shipped
rules and the soil model included (tests/benchmarks/README.md has the figure), so N cores take

    sites x years / (5 million x N) hours.

10,000 sites over 40 years, 400,000 site-years, take two cores a few minutes. The 4-km cells of a
continent, some 500,000, over 40 years are 20 million site-years: four hours on one core, half an
hour on eight. A cluster pays beyond that: a hundred climate runs over the same cells are 2 billion
site-years, 17 days on one core and four hours on a hundred; or where the data lies on the cluster
anyway. The table has a row for each rule and season, 13 bytes of Parquet each: 0.3 GB for the
10,000 sites, 17 GB for the continent. Memory never needs it: a process takes no more for many
sites than for few.
"""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from itertools import islice
from typing import TYPE_CHECKING, Any

from patchrisk.errors import Fault, InputError, UnavailableError

if TYPE_CHECKING:
    from patchrisk.backtest.run import Done, Job

ANSWER_S = 20.0  # how long a scheduler may take to answer
_AHEAD = 2  # parts handed out for each thread, so that none waits and few results pile up


def over_cluster(jobs: Sequence["Job"], scheduler: str | None, processes: int) -> Iterator["Done"]:
    """Judge parts on a cluster, handing back each as it is done.

    Parameters
    ----------
    jobs : sequence of Job
    scheduler : str or None
        Address of a running scheduler, such as ``tcp://10.0.0.5:8786``; None to start a cluster
        of worker processes here.
    processes : int
        How many to start here.

    Raises
    ------
    InputError
        When ``distributed`` is not installed or the scheduler does not answer, or with the
        faults that a worker found in the data.
    UnavailableError
        When a part killed several workers, or a worker can't read the source.
    """
    try:
        from distributed import Client, LocalCluster, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        cure = "install patchrisk[cluster], or leave the option out"
        raise InputError(
            Fault("--scheduler", "", "Dask's distributed is not installed", cure)
        ) from None
    with ExitStack() as stack:
        client = stack.enter_context(_connect(Client, LocalCluster, scheduler, processes, stack))
        threads = sum(client.nthreads().values())
        waiting = iter(jobs)
        some = list(islice(waiting, _AHEAD * max(threads, 1)))
        try:
            running = as_completed([client.submit(job.run, pure=False) for job in some])
            for future in running:
                done: Done = future.result()
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


def _connect(
    client: Any, local: Any, scheduler: str | None, processes: int, stack: ExitStack
) -> Any:
    if scheduler is None:
        cluster = local(
            n_workers=processes,
            threads_per_worker=1,
            processes=True,
            dashboard_address=None,
            memory_limit=None,
        )
        return client(stack.enter_context(cluster))
    try:
        return client(scheduler, timeout=ANSWER_S)
    except (OSError, ValueError) as error:
        raise InputError(
            Fault(
                "--scheduler",
                "",
                f"{scheduler} does not answer ({error})".split("\n")[0],
                "write the address that the scheduler shows, such as tcp://10.0.0.5:8786",
            )
        ) from None
