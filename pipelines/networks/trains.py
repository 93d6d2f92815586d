"""Trains on a line of a network, each by itself: what goes wrong with one leaves the profile and the others."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from pipelines.networks.records import Outcome, briefing_folder, keep, result_file, sentence_of

if TYPE_CHECKING:
    from pipelines.networks.job import Task
    from pipelines.networks.plan import TrainFile
    from profiler import Briefing, Landmarks, Profile

CASES = ("plan", "slower", "faster")

Briefings = dict[str, "list[Briefing]"]
Problems = dict[str, str]
"""By the names of trains."""


def briefed(task: Task, stood: Outcome) -> Outcome:
    """A line whose profile stands, with its trains done and recorded.

    Of trains that were seen to before, only those that failed are tried again; while none of them succeeds, nothing
    is written.

    Raises
    ------
    InputError
        If the written profile is damaged.
    OutputError
        If results cannot be written.
    """
    outcome = _briefed(task, stood) if task.trains else stood.unbriefed()
    if outcome != stood:
        keep(task.out, outcome, task.inputs)
    return outcome


def _briefed(task: Task, stood: Outcome) -> Outcome:
    from profiler import read_landmarks, read_profile

    file = result_file(task.out, task.key)  # so that it is the same whenever trains are done
    plan = functools.partial(_planned, task, read_profile(file), read_landmarks(file))
    before = dict(stood.trains_failed) if stood.briefed == task.briefed else {}
    briefings, problems = plan(train for train in task.trains if not before or train.name in before)
    if before and not briefings:
        return replace(stood, trains_failed=tuple(problems.items()))
    if before:  # the page shows all of them
        others, more = plan(train for train in task.trains if train.name not in before)
        briefings, problems = briefings | others, problems | more
    outcome = stood.unbriefed()
    if outcome != stood:
        keep(task.out, outcome, task.inputs)  # what was said of trains is written over from here on
    if briefings:
        problems |= _written(task, briefings)
    return replace(
        outcome,
        beside=(*outcome.beside, *([briefing_folder(task.key)] if briefings.keys() - problems.keys() else [])),
        briefed=task.briefed,
        trains_failed=tuple((train.name, problems[train.name]) for train in task.trains if train.name in problems),
    )


def _planned(
    task: Task, profile: Profile, landmarks: Landmarks, trains: Iterable[TrainFile]
) -> tuple[Briefings, Problems]:
    """Briefings of trains, and why the others have none."""
    from profiler import direction_towards, plan_handling

    briefings: Briefings = {}
    problems: Problems = {}
    for file in trains:
        try:
            ways = ["with", "against"]
            if not task.both:
                ways = [direction_towards(profile.route, task.to, source=f"{task.name}, to")]
            briefings[file.name] = [plan_handling(profile, landmarks, file.train, way, CASES) for way in ways]
        except Exception as error:
            problems[file.name] = sentence_of(error, task.out)
    return briefings, problems


def _written(task: Task, briefings: Briefings) -> Problems:
    """Write all briefings of a line, in the order of its trains; where that cannot be done, why, for each."""
    from profiler import write_briefings

    trains = [train for train in task.trains if train.name in briefings]
    try:
        write_briefings(
            {train.name: briefings[train.name] for train in trains},
            task.out / briefing_folder(task.key),
            territory=task.territory,
            train_files=[train.path for train in trains],
            pictures=task.pictures,
            command=["network", task.name],
        )
    except Exception as error:
        return dict.fromkeys(briefings, sentence_of(error, task.out))
    return {}
