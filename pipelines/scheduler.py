"""Map a job over tasks by a Dask distributed scheduler: the one file that knows Dask."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable, Iterator
from typing import Any, TypeVar

from profiler import InputError, ProfilerError

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

    A task whose worker is lost is run again by another; after the scheduler's ``allowed-failures`` it is ``lost``.

    Raises
    ------
    InputError
        If dask is not installed, or no scheduler answers at the address, or it has no workers, or it goes away.
    """
    try:
        from distributed import as_completed
        from distributed.scheduler import KilledWorker
    except ImportError as error:
        remedy = "install the extra: pip install 'gradewright[network]'"
        raise InputError("--scheduler", "dask is not installed", remedy) from error
    client = _client(address, answers_within)
    try:
        _wait_for_workers(client, address, workers_within)
        room = AT_ONCE * max(sum(client.nthreads().values()), 1)
        waiting = iter(tasks)
        of_future: dict[Any, Task] = {}
        under_way = as_completed()

        def hand_out() -> None:
            while len(of_future) < room and (task := next(waiting, None)) is not None:
                future = client.submit(job, task, pure=False)
                of_future[future] = task
                under_way.add(future)

        hand_out()
        while of_future:
            future = next(under_way)
            task = of_future.pop(future)
            if future.status == "error":
                raised = future.exception()
                if not isinstance(raised, KilledWorker):
                    raise raised
                yield lost(task)
            elif future.status == "finished":
                yield future.result()
            else:
                raise _gone(address)
            future.release()
            hand_out()
    except ProfilerError:
        raise
    except (OSError, TimeoutError, RuntimeError) as error:
        raise _gone(address) from error
    finally:
        client.close(timeout=2)


def _client(address: str, answers_within: float) -> Any:
    from distributed import Client

    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what it says of itself is said below in a sentence
    try:
        return Client(address, timeout=answers_within, set_as_default=False)
    except (OSError, TimeoutError, ValueError, TypeError) as error:
        raise InputError(
            "--scheduler",
            f"nothing answers at {address} within {answers_within:g} s",
            "start one with dask scheduler and give its address, tcp://host:8786",
        ) from error


def _wait_for_workers(client: Any, address: str, workers_within: float) -> None:
    try:
        client.wait_for_workers(1, timeout=workers_within)
    except TimeoutError as error:
        remedy = f"start some with dask worker {address} --nthreads 1"
        raise InputError("--scheduler", f"{address} has no workers", remedy) from error


def _gone(address: str) -> InputError:
    return InputError(
        "--scheduler", f"{address} went away", "start it again, and the same command: it goes on from here"
    )
