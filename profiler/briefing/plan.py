"""What one train meets on one line in one direction of travel: everything about it worked out and put together."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from profiler.briefing.by_plan import ByPlan, run_by_plan
from profiler.briefing.running import Running, lying_along
from profiler.handling.air_ledger import LedgerRow
from profiler.handling.descent_plan import LinePlan
from profiler.handling.felt import Felt
from profiler.handling.hands import Hand
from profiler.handling.journey import Journey
from profiler.handling.relief import Relief, reliefs_at
from profiler.handling.slow_orders import Slowing
from profiler.handling.start import StartSequence
from profiler.handling.start_marks import do_not_stop, numbered, start_astride, start_hard, worst_places
from profiler.handling.start_sequence import start_sequences
from profiler.handling.starting import START_ACCELERATION, Starting, starting
from profiler.handling.stopping import StopAt
from profiler.handling.straddles import TrainStraddle, pair_straddles, straddle_marks, train_straddles
from profiler.handling.what_if import WhatIf
from profiler.landmark import SHOWN_FROM, Landmark, Landmarks, reversed_landmarks
from profiler.landmarks.grades import recompensated, ruling_grades
from profiler.mark import Mark
from profiler.mechanics.curving import InCurves
from profiler.mechanics.in_train import InTrain
from profiler.mechanics.make_up import MakeUpWarning
from profiler.mechanics.places import Climb, climbs_of
from profiler.mechanics.power_needed import (
    ClimbSpeed,
    HelperDistrict,
    UnitsNeeded,
    climb_speeds,
    helper_districts,
    units_for,
)
from profiler.mechanics.pull import Over, draft_over
from profiler.mechanics.remote import RemotePlaces, remote_places
from profiler.mechanics.terrain import Terrain, as_met_by, drawn_elevations, terrain_of
from profiler.mechanics.tonnage import Rating, drawn_terrain, rate
from profiler.mechanics.units_to_use import UnitsToUse, units_on_climbs
from profiler.profile import Profile, reversed_profile
from profiler.route import Route
from profiler.train import Train
from profiler.units import FloatArray

RUN_NEAR = 100.0
"""A place of the run by plan tells of head positions no farther from it. [m]"""


@dataclass(frozen=True)
class StartPlace:
    """A place where the train may have to start: ``name``, ``kind``, and ``head`` by distance travelled [m].

    Kinds: "station", "stop" (planned by the territory), "climb" (the hardest place of one); ``reliefs`` are what
    would help where it does not start, or with a draft above the caution.
    """

    name: str
    kind: str
    head: float
    reliefs: tuple[Relief, ...] = ()

    @property
    def named(self) -> bool:
        """Whether it is a station or a planned stop, where a train may have to be stopped."""
        return self.kind != "climb"


@dataclass(frozen=True, eq=False)
class Astride:
    """Starting with none, a quarter, half, three quarters and all of the train past a crest: ``starting`` is (5,)."""

    straddle: TrainStraddle
    starting: Starting

    @property
    def telling(self) -> bool:
        """Whether it starts with three quarters past, and could not with all its cars on the grade."""
        return bool(self.starting.starts[3] and not self.starting.starts[0])


@dataclass(frozen=True, kw_only=True, eq=False)
class Briefing:
    """What ``train`` meets on a line in one ``direction`` ("with" or "against" chainage); an estimate throughout.

    ``profile`` and ``landmarks`` are the line, compensated by the train's law of curve resistance, ``terrain`` that as
    travelled. ``everywhere`` what a start needs at every station of the profile;
    ``places`` are stations, planned stops and the hardest place of each climb, ``at_places`` what a start needs there
    in the same order, ``sequences`` how it goes at the stops and climbs among them: pairs of a position in ``places``
    and the sequence. ``astride`` are starts over crests. ``marks_by_case`` are the marks of each case of the
    plan, numbered in order of travel.
    ``speeds`` and ``units`` are balancing speeds and units to use on the climbs, the ruling one first; ``remote``
    where a remote group may stand, None where there is none; ``rating`` what the power hauls, None without cars or
    where the locomotives are longer than the line; ``needed`` the units it takes; ``helpers`` where a helper is
    needed. ``plans`` are the train run by plan, as planned first, then its other cases; ``felt`` what couplers feel at
    the marked places of the first, where that was asked for, and ``hands`` how many couplings it breaks, and would with
    a slower hand, where it breaks any.
    """

    profile: Profile
    landmarks: Landmarks
    train: Train
    direction: str
    terrain: Terrain
    everywhere: Starting
    places: tuple[StartPlace, ...]
    at_places: Starting
    sequences: tuple[tuple[int, StartSequence], ...]
    astride: tuple[Astride, ...]
    marks_by_case: dict[str, tuple[Mark, ...]]
    speeds: tuple[ClimbSpeed, ...]
    units: tuple[UnitsToUse, ...]
    remote: RemotePlaces | None
    rating: Rating | None
    needed: UnitsNeeded
    helpers: tuple[HelperDistrict, ...]
    plans: tuple[ByPlan, ...]
    felt: tuple[Felt, ...] = ()
    hands: tuple[Hand, ...] = ()

    def as_case(self, case: str) -> Briefing:
        """The briefing as if one case of its plan were the plan."""
        (chosen,) = (plan for plan in self.plans if plan.case == case)
        if chosen is self.plans[0]:
            return dataclasses.replace(self, plans=(chosen,))
        return dataclasses.replace(self, plans=(chosen,), felt=(), hands=())

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Marks as planned, numbered in order of travel."""
        return self.marks_by_case[self.plans[0].case]

    @property
    def line(self) -> LinePlan:
        """The plan for the descents."""
        return self.plans[0].line

    @property
    def running(self) -> Running:
        """The train under way at the speed of its plan, or what full power keeps up of it."""
        return self.plans[0].running

    @property
    def slowings(self) -> tuple[Slowing, ...]:
        """Slow orders and limits that fall."""
        return self.plans[0].slowings

    @property
    def journey(self) -> Journey:
        """The train run by plan from end to end."""
        return self.plans[0].journey

    @property
    def forces(self) -> InTrain:
        """What its couplers carry then."""
        return self.plans[0].forces

    @property
    def in_curves(self) -> InCurves:
        """What that does in curves."""
        return self.plans[0].in_curves

    @property
    def make_up(self) -> tuple[MakeUpWarning, ...]:
        """Where the order of the cars asks for care."""
        return self.plans[0].make_up

    @property
    def what_ifs(self) -> tuple[WhatIf, ...]:
        """What if something is otherwise, descent by descent."""
        return self.plans[0].what_ifs

    @property
    def stops(self) -> tuple[StopAt, ...]:
        """Stops at planned stops and stations, then from the hardest place of each descent."""
        return self.plans[0].stops

    @property
    def ledger(self) -> tuple[LedgerRow, ...]:
        """The air, all along."""
        return self.plans[0].ledger

    @property
    def fits(self) -> bool:
        """Whether the whole train fits on the line."""
        return self.train.length <= self.terrain.length

    @cached_property
    def as_travelled(self) -> tuple[Profile, Landmarks]:
        """Profile and landmarks by distance travelled: turned where travel is against chainage."""
        if self.direction == "with":
            return self.profile, self.landmarks
        return reversed_profile(self.profile), reversed_landmarks(self.landmarks, self.terrain.length)

    @cached_property
    def ruling(self) -> tuple[Landmark | None, Landmark | None]:
        """The ruling grade over this train's own length, plain and compensated; None where the line is shorter."""
        found = [x for x in ruling_grades(self.profile, (self.train.length,)) if x.direction == self.direction]
        plain, compensated = (
            next((x for x in found if x.kind == kind), None) for kind in ("ruling_grade", "ruling_grade_compensated")
        )
        return plain, compensated

    @cached_property
    def push(self) -> tuple[FloatArray, FloatArray]:
        """The largest buff (h,) [N] at the head positions of ``running``, and behind which vehicle: at steady speed, or
        as run by plan where that is more."""
        steady, plan = self.running.pull.needed, self.forces.peaks
        if plan.head.size < 2:
            return steady.buff, steady.buff_at
        after = np.clip(np.searchsorted(plan.head, steady.head), 1, plan.head.size - 1)
        near = after - (steady.head - plan.head[after - 1] < plan.head[after] - steady.head)
        run = np.where(np.abs(plan.head[near] - steady.head) <= RUN_NEAR, plan.buff[near], 0.0)
        return np.maximum(steady.buff, run), np.where(run > steady.buff, plan.buff_at[near], steady.buff_at)

    def over(self, limit: float) -> tuple[Over, ...]:
        """Where the largest draft under way is above a limit [N], with the effort needed, in order of travel."""
        return draft_over(self.running.pull.needed, limit)


def plan_handling(
    profile: Profile, landmarks: Landmarks, train: Train, direction: str = "with", cases: Sequence[str] = ("plan",)
) -> Briefing:
    """Work out what a train meets on a line in one direction.

    Parameters
    ----------
    profile : Profile
        Its stations and planned stops are places where the train may have to start, its draws say how sure.
    landmarks : Landmarks
        Of the same profile: crests, sags and breaks to lie astride of, sustained grades to climb.
    train : Train
    direction : str
        "with" or "against" chainage.
    cases : sequence of str
        Of `by_plan.PACES`, "plan" first.

    Raises
    ------
    InputError
        If the direction is neither, or a limit is below walking pace.

    Notes
    -----
    Starts are made with `START_ACCELERATION` and the curve resistance of a start. Under way the train goes no faster
    than its plan has it, and slower where its power falls short. A train longer than the line, or with its rear
    before its start, lies on the first grade going on there.
    """
    if (met := as_met_by(profile, train)) is not profile:
        profile, landmarks = met, recompensated(met, landmarks)
    terrain = terrain_of(profile, direction)
    draws = drawn_elevations(profile, direction)
    climbs = climbs_of(terrain, train, landmarks)
    everywhere = starting(train, terrain, draws)
    worst = worst_places(everywhere, climbs, train)
    places = _places(profile.route, terrain, [float(everywhere.head[i]) for i in worst])
    at_places = starting(train, terrain, draws, head=np.array([place.head for place in places]))
    straddling = train_straddles(train, terrain, landmarks.items)
    pairs = pair_straddles(straddling)
    marks = (
        *straddle_marks(straddling, pairs),
        *start_hard(everywhere, terrain, worst),
        *do_not_stop(everywhere, terrain, train),
    )
    named = [place.head for place in places if place.named]
    drawn = drawn_terrain(profile, direction)
    lying = lying_along(train, terrain, drawn)
    plans = tuple(run_by_plan(profile, train, terrain, drawn, lying, straddling, named, case) for case in cases)
    hard = [i for i, place in enumerate(places) if place.kind != "station"]
    crests = [s for s in straddling if s.straddle.kind == "crest" and s.probability >= SHOWN_FROM]
    return Briefing(
        profile=profile,
        landmarks=landmarks,
        train=train,
        direction=direction,
        terrain=terrain,
        everywhere=everywhere,
        places=_with_reliefs(places, at_places, train, terrain),
        at_places=at_places,
        sequences=tuple(zip(hard, start_sequences(train, terrain, [places[i].head for i in hard]), strict=True)),
        astride=tuple(Astride(s, start_astride(train, terrain, s.straddle)) for s in crests),
        marks_by_case={one.case: numbered((*marks, *one.marks), terrain) for one in plans},
        speeds=climb_speeds(terrain, train, climbs),
        units=units_on_climbs(terrain, train, climbs, acceleration=START_ACCELERATION),
        remote=_remote(terrain, train, climbs),
        rating=_rating(terrain, train, drawn),
        needed=units_for(terrain, train, acceleration=START_ACCELERATION),
        helpers=helper_districts(terrain, train),
        plans=plans,
    )


def _places(route: Route, terrain: Terrain, worst: Sequence[float]) -> tuple[StartPlace, ...]:
    """Stations, stops and the worst places of the climbs, in order of travel."""
    named = [("station", x) for x in route.stations] + [("stop", x) for x in route.stops]
    found = [(float(terrain.way_at(x.chainage)), kind, x.name) for kind, x in named]
    found += [(head, "climb", "") for head in worst]
    return tuple(StartPlace(name, kind, head) for head, kind, name in sorted(found))


def _with_reliefs(
    places: Sequence[StartPlace], found: Starting, train: Train, terrain: Terrain
) -> tuple[StartPlace, ...]:
    hard = np.flatnonzero(~found.starts | (found.draft > found.draft_caution))
    told = dict(zip(hard.tolist(), reliefs_at(train, terrain, found.head[hard].tolist()), strict=True))
    return tuple(dataclasses.replace(place, reliefs=told.get(i, ())) for i, place in enumerate(places))


def _remote(terrain: Terrain, train: Train, climbs: Sequence[Climb]) -> RemotePlaces | None:
    """Places for the last group, where there is more than one."""
    if len(train.groups) < 2:
        return None
    return remote_places(terrain, train, climbs, acceleration=START_ACCELERATION)


def _rating(terrain: Terrain, train: Train, drawn: Terrain) -> Rating | None:
    cars = sum(b.count * b.vehicle.length for b in train.blocks if b.vehicle.kind == "car")
    if not cars or train.length - cars >= terrain.length:
        return None
    return rate(terrain, train, drawn, acceleration=START_ACCELERATION)
