"""A train run over its line by one plan: descents, slow orders, the run, what its couplers carry, what if."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from profiler.briefing.running import Lying, Running, running_by_plan
from profiler.errors import InputError
from profiler.handling.air_ledger import LedgerRow, air_ledger
from profiler.handling.descent_marks import descent_marks
from profiler.handling.descent_plan import LinePlan, plan_descents
from profiler.handling.journey import Journey, journey
from profiler.handling.slack import slack_marks
from profiler.handling.slow_marks import slow_marks
from profiler.handling.slow_orders import Slowing, slow_orders
from profiler.handling.speeds import WALKING
from profiler.handling.stopping import StopAt, Stops
from profiler.handling.straddles import TrainStraddle
from profiler.handling.what_if import WhatIf, what_ifs
from profiler.mark import Mark
from profiler.mechanics.curving import InCurves, in_curves
from profiler.mechanics.in_train import InTrain, in_train
from profiler.mechanics.make_up import MakeUpWarning, make_up_warnings
from profiler.mechanics.speed_limits import head_limit
from profiler.mechanics.terrain import Terrain
from profiler.profile import Profile
from profiler.route import Route
from profiler.train import Train
from profiler.train_words import speed_text
from profiler.units import FloatArray
from profiler.wording import stretch_words

PACES = {"plan": 1.0, "slower": 0.9, "faster": 1.1}
"""Cases of a plan, and the speed held in each over that of the plan, no higher than is posted. [-]"""
CASES = tuple(PACES)


@dataclass(frozen=True, kw_only=True, eq=False)
class ByPlan:
    """A train on a line by the plan of one ``case`` of `PACES`.

    ``line`` is the plan for the descents, ``running`` the train under way at its speeds, ``slowings`` slow orders and
    limits that fall, ``journey`` the train run by plan from end to end, ``forces`` what its couplers carry then,
    ``in_curves`` what that does in curves, and ``make_up`` where the order of its cars asks for care. ``what_ifs``
    belong to the descents one by one; ``stops`` are stops at places named, then from the hardest place of each descent;
    ``ledger`` the air, all along. ``marks`` are not yet numbered.
    """

    case: str
    line: LinePlan
    running: Running
    slowings: tuple[Slowing, ...]
    journey: Journey
    forces: InTrain
    in_curves: InCurves
    make_up: tuple[MakeUpWarning, ...]
    what_ifs: tuple[WhatIf, ...]
    stops: tuple[StopAt, ...]
    ledger: tuple[LedgerRow, ...]
    marks: tuple[Mark, ...]


def run_by_plan(
    profile: Profile,
    train: Train,
    terrain: Terrain,
    drawn: Terrain,
    lying: Lying,
    straddling: Sequence[TrainStraddle],
    named: Sequence[float],
    case: str = "plan",
) -> ByPlan:
    """Plan a line and run it.

    Parameters
    ----------
    profile : Profile
        Its limits and slow orders bind the train.
    train : Train
    terrain, drawn : Terrain
        Of the profile, for one direction of travel: the estimate, and the heights of all draws.
    lying : Lying
        That train there.
    straddling : sequence of TrainStraddle
        Landmarks that the train lies astride of.
    named : sequence of float
        Places that it may have to be stopped at, by distance travelled. [m]
    case : str
        One of `PACES`.

    Raises
    ------
    InputError
        If a limit is below walking pace.
    """
    route = profile.route
    _refuse_walking(route, train)
    posted = head_limit((*route.limits, *route.slow_orders), terrain, train.length, train.train_class)
    line = plan_descents(train, terrain, posted, drawn, pace=PACES[case])
    slowings = slow_orders(train, terrain, line, route.limits, route.slow_orders)
    trip = journey(train, line, terrain.length)
    forces = in_train(train, terrain, line.course, trip)
    curving = in_curves(train, forces, terrain.way, _as_travelled(route.curvature, terrain.direction))
    stops = Stops(train, line.course, line.speeds)
    return ByPlan(
        case=case,
        line=line,
        running=running_by_plan(train, terrain, lying, line.course, line.speeds),
        slowings=slowings,
        journey=trip,
        forces=forces,
        in_curves=curving,
        make_up=make_up_warnings(train, curving),
        what_ifs=what_ifs(train, terrain, line, posted),
        stops=tuple(stops.at([*named, *(stops.hardest(one.descent) for one in line.descents)])),
        ledger=air_ledger(train, [step for one in line.descents for step in one.steps], trip.head, trip.time),
        marks=(
            *descent_marks(line, terrain),
            *slow_marks(slowings, terrain),
            *slack_marks(train, terrain, forces, straddling),
        ),
    )


def _refuse_walking(route: Route, train: Train) -> None:
    """No run can be planned at walking pace."""
    for name, limits in (("speed limit", route.limits), ("slow order", route.slow_orders)):
        for limit in limits:
            if limit.speed < WALKING and limit.train_class in ("", train.train_class):
                where, speed = stretch_words(route.posts, limit.start, limit.end), speed_text(limit.speed, train.units)
                problem = f"{speed}, {where}, is below walking pace, no run can be planned at it"
                raise InputError(name, problem, "raise it, or plan a stop there instead")


def _as_travelled(curvature: FloatArray, direction: str) -> FloatArray:
    """Curvature in the order of travel, + left as travelled. [1/m]"""
    return curvature if direction == "with" else -curvature[::-1]
