"""Many surveys checked at once: by processes on this machine, or by the workers of a Dask cluster.

Each process computes on one thread (:mod:`flatness.arrays`), so as many processes as cores are busy. A process that
ends in the middle, by want of memory or by a signal, takes no result with it: what it was at is checked again, here
alone in a process of its own, on a cluster by another worker; what ends such a process again is a row with its error.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any

from flatness.building.checks import Asked, Checked, File, check_file, not_checked
from flatness.errors import ArgumentError, FlatnessError

ENDED = "the process that checked it ended; it may need more memory than there is"
AT_ONCE = 4  # surveys a core that are under way on a cluster: their files travel meanwhile
WAIT_S = 20.0  # for an answer of a cluster, and for its first worker
Check = Callable[[Asked, File], Checked]


def cores() -> int:
    """Cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def check_here(files: Sequence[File], asked: Asked, processes: int = 0, check: Check = check_file) -> Iterator[Checked]:
    """Check surveys on this machine, each as it is done.

    Parameters
    ----------
    processes : 0 takes one a core; 1 checks in this process itself
    check : what is done with each, a function that a process can be sent
    """
    if processes < 0:
        raise ArgumentError("processes out of range", value=str(processes), expected="0 for one a core, or more")
    processes = min(processes or cores(), len(files))
    if processes <= 1:
        yield from (check(asked, file) for file in files)
        return
    left, alone = list(files), list[File]()
    while left:
        done, under_way = yield from _by_pool(left, asked, processes, check)
        left = [file for file in left if file not in done and file not in under_way]
        alone += under_way
    for file in alone:
        done, _ = yield from _by_pool([file], asked, 1, check)
        if not done:
            yield not_checked(file, ENDED, is_fault=True)


def _by_pool(
    files: Sequence[File], asked: Asked, processes: int, check: Check
) -> Generator[Checked, None, tuple[set[File], list[File]]]:
    """Check until all is done, or a process ends; returns what was done, and what was under way then."""
    done, waiting = set[File](), list(reversed(files))
    # spawned, not forked: a copy of a process that has threads may hang
    with ProcessPoolExecutor(processes, get_context("spawn")) as pool:
        under_way: dict[Future[Checked], File] = {}
        broken = False
        while (waiting or under_way) and not broken:
            # no more than there are processes: what is under way when one ends is what it may have ended on
            while waiting and len(under_way) < processes:
                file = waiting.pop()
                under_way[pool.submit(check, asked, file)] = file
            for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                try:
                    result = future.result()
                except BrokenProcessPool:
                    broken = True
                    continue
                done.add(under_way.pop(future))
                yield result
    return done, list(under_way.values())


def check_on_cluster(files: Sequence[File], asked: Asked, address: str, check: Check = check_file) -> Iterator[Checked]:
    """Check surveys on the workers of a Dask cluster, each as it is done.

    The files' bytes go to the workers, which need the kit and none of the folders. The scheduler gives what a lost
    worker was at to another one.

    Parameters
    ----------
    address : of the scheduler, such as ``tcp://10.0.0.5:8786``

    Raises
    ------
    FlatnessError : Dask is not installed; nothing answers at the address, or it has no worker
    """
    try:
        import distributed
    except ImportError as error:
        what, remedy = "Dask is not installed", 'pip install "surface-flatness-kit[cluster]"'
        raise FlatnessError(what, column="--cluster", value=address, remedy=remedy) from error
    with _client(distributed.Client, address) as client:
        _wait_for_workers(client, address)
        waiting, under_way = list(reversed(files)), dict[Any, File]()
        most = max(8, AT_ONCE * sum(client.ncores().values()))

        def send() -> Any:
            file = waiting.pop()
            future = client.submit(check, asked, file.carried(), pure=False)
            under_way[future] = file
            return future

        as_completed: Any = distributed.as_completed  # which has no types
        finished = as_completed([send() for _ in range(min(most, len(waiting)))], loop=client.loop)
        for future in finished:
            file = under_way.pop(future)
            try:
                result = future.result()
            except BaseException as error:
                if isinstance(error, (KeyboardInterrupt, GeneratorExit)):
                    raise
                result = not_checked(file, _lost(error), is_fault=True)
            yield result
            if waiting:
                finished.add(send())


def _client(client: Any, address: str) -> Any:
    try:
        return client(address, timeout=WAIT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        what, expected = "no cluster answers at this address", "the scheduler's, such as tcp://10.0.0.5:8786"
        remedy = "start one with `dask scheduler`, and workers with `dask worker ADDRESS --nthreads 1 --nworkers auto`"
        raise FlatnessError(what, column="--cluster", value=address, expected=expected, remedy=remedy) from error


def _wait_for_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
    except TimeoutError as error:
        what, remedy = "the cluster has no worker", f"start some: `dask worker {address} --nthreads 1 --nworkers auto`"
        raise FlatnessError(what, column="--cluster", value=address, remedy=remedy) from error


def _lost(error: BaseException) -> str:
    if type(error).__name__ == "KilledWorker":
        return "every worker that checked it ended; it may need more memory than they have"
    return f"the cluster did not check it ({type(error).__name__}: {error})"
