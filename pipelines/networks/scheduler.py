"""Map a job over tasks by a Dask distributed scheduler: the one file that knows Dask."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from profiler import InputError

Task = TypeVar("Task")
Outcome = TypeVar("Outcome")

AT_ONCE = 4
"""Tasks under way for each thread of the workers: enough that none waits, few enough to hold in memory."""
ANSWERS_WITHIN, WORKERS_WITHIN = 10.0, 30.0
"""How long to wait for the scheduler, and for a worker of it. [s]"""


def map_over_scheduler(
    tasks: Iterable[Task],
    job: Callable[[Task], Outcome],
    lost: Callable[[Task], Outcome],
    *,
    address: str,
    answers_within: float = ANSWERS_WITHIN,
    workers_within: float = WORKERS_WITHIN,
) -> Iterator[Outcome]:
    """Outcomes as they come in; tasks are asked for in chunks as there is room for them.

    A task whose worker is lost is run again by another. One that the scheduler gives up, for it was with several
    workers when they were lost, is run again alone in the end, and is ``lost`` if it takes a worker with it then.

    Raises
    ------
    InputError
        If dask is not installed, or no scheduler answers at the address, or it has no workers, or they cannot import
        the job, or it goes away.
    """
    try:
        import distributed  # noqa: F401
    except ImportError as error:
        remedy = "install the extra: pip install 'gradewright[network]'"
        raise InputError("--scheduler", "dask is not installed", remedy) from error
    client = _client(address, answers_within)
    try:
        _wait_for_workers(client, address, workers_within)
        _check_workers(client, job)
        room = AT_ONCE * max(sum(client.nthreads().values()), 1)
        suspects: list[Task] = []
        yield from _mapped(client, iter(tasks), job, room, suspects)
        for task in suspects:
            killed: list[Task] = []
            yield from _mapped(client, iter([task]), job, 1, killed)
            if killed:
                yield lost(task)
    except _GoneError as error:
        raise _gone(address) from error
    finally:
        client.close(timeout=2)


class _GoneError(Exception):
    """The scheduler is not there any more."""


def _mapped(
    client: Any, waiting: Iterator[Task], job: Callable[[Task], Outcome], room: int, suspects: list[Task]
) -> Iterator[Outcome]:
    """Outcomes as they come in, at most ``room`` tasks under way; what the scheduler gives up are ``suspects``."""
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    of_future: dict[Any, Task] = {}
    under_way = as_completed(loop=client.loop)

    def hand_out() -> None:
        while len(of_future) < room and (task := next(waiting, None)) is not None:
            try:
                future = client.submit(job, task, pure=False)
            except Exception as error:
                raise _GoneError from error
            of_future[future] = task
            under_way.add(future)

    hand_out()
    while of_future:
        future = next(under_way)
        task = of_future.pop(future)
        try:
            outcome = future.result()  # if the worker that had it was lost since, another does it again
        except KilledWorker:
            suspects.append(task)
        except Exception as error:
            if future.status == "error":
                raise
            if client.status != "running":
                raise _GoneError from error
            suspects.append(task)
        else:
            yield outcome
        future.release()
        hand_out()


def _client(address: str, answers_within: float) -> Any:
    from distributed import Client

    for name in ("distributed", "tornado", "asyncio"):  # what they say of themselves is said below in a sentence
        logging.getLogger(name).setLevel(logging.CRITICAL)
    found: list[Any] = []

    def connect() -> None:
        try:
            found.append(Client(address, timeout=answers_within, set_as_default=False))
        except Exception as error:
            found.append(error)

    # whoever takes the connection and never says a word is waited for without end, whatever the time-out
    thread = threading.Thread(target=connect, daemon=True)
    thread.start()
    thread.join(1.5 * answers_within + 1)
    if found and not isinstance(found[0], Exception):
        return found[0]
    raise InputError(
        "--scheduler",
        f"nothing answers at {address} within {answers_within:g} s",
        "start one with dask scheduler and give its address, tcp://host:8786",
    )


def _wait_for_workers(client: Any, address: str, workers_within: float) -> None:
    try:
        client.wait_for_workers(1, timeout=workers_within)
    except TimeoutError as error:
        remedy = f"start some with dask worker {address} --nthreads 1"
        raise InputError("--scheduler", f"{address} has no workers", remedy) from error


def _check_workers(client: Any, job: Any) -> None:
    """A worker that cannot import the job leaves it lying, without end and without a word."""
    package = getattr(job, "func", job).__module__.partition(".")[0]

    def lacks() -> bool:  # goes there by value, as all functions inside others
        import importlib.util

        return importlib.util.find_spec(package) is None

    lacking = sorted(worker for worker, lack in client.run(lacks).items() if lack)
    if lacking:
        problem = f"its workers cannot import {package}: {', '.join(lacking)}"
        raise InputError("--scheduler", problem, "install the same there as here")


def _gone(address: str) -> InputError:
    return InputError(
        "--scheduler", f"{address} went away", "start it again, and the same command: it goes on from here"
    )
