"""Map a job over tasks by a pool of processes on this machine."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")

ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS", "GDAL_NUM_THREADS"), "1"
)
"""Processes share the cores among them: each works with one thread."""


def map_over_processes(
    tasks: Iterable[Task], job: Callable[[Task], Outcome], lost: Callable[[Task], Outcome], *, workers: int
) -> Iterator[Outcome]:
    """Outcomes as they come in; tasks are asked for as there is room for them.

    A task that kills its process (out of memory, say) is run again alone, and is ``lost`` if it does so again; the
    others go on. What ``job`` raises ends the map, and what is under way with it.
    """
    if workers <= 1:
        yield from map(job, tasks)
        return
    waiting = iter(tasks)
    while True:
        suspects: list[Task] = []
        back: list[Task] = []
        yield from _pooled(waiting, workers, job, suspects, back)
        if not suspects and not back:
            return
        for task in suspects:
            killed: list[Task] = []
            yield from _pooled(iter([task]), 1, job, killed, killed)
            if killed:
                yield lost(task)
        waiting = itertools.chain(back, waiting)


def _pooled(
    waiting: Iterator[Task], workers: int, job: Callable[[Task], Outcome], suspects: list[Task], back: list[Task]
) -> Iterator[Outcome]:
    """Work off ``waiting`` until a process dies; what was under way then is ``suspects``, a task not begun ``back``."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin)
    try:
        pending: dict[Future[Outcome], Task] = {}
        while True:
            # no more are handed out than run at once, so that few are suspected
            while not suspects and not back and len(pending) < workers:
                task = next(waiting, None)
                if task is None:
                    break
                try:
                    pending[pool.submit(job, task)] = task
                except BrokenProcessPool:
                    back.append(task)
            if not pending:
                break
            done, _ = wait(pending, return_when=FIRST_COMPLETED)
            for future in done:
                task = pending.pop(future)
                try:
                    yield future.result()
                except BrokenProcessPool:
                    suspects.append(task)
    except BaseException:  # nobody waits for what is under way: it is done again at the next start
        for process in set(multiprocessing.active_children()) - before:
            process.kill()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _begin() -> None:
    """How a process begins: with one thread, deaf to Ctrl-C, which is for its parent, and gone when its parent is."""
    for name, value in ONE_THREAD.items():
        os.environ.setdefault(name, value)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_follow, args=(parent,), daemon=True).start()


def _follow(parent: multiprocessing.process.BaseProcess) -> None:
    parent.join()
    os._exit(1)
