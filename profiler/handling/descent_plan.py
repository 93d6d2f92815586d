"""The plan for every descent of a line: what holds the train, and when each act of its crew may begin."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from profiler.handling.approach import Approach, approach
from profiler.handling.descents import Descent, descents
from profiler.handling.holding import AirAlone, Holding, TopSpeed, air_alone, holding
from profiler.handling.kept_speed import kept_speed
from profiler.handling.proof import Proof, prove
from profiler.handling.scene import Scene
from profiler.handling.speeds import Speeds, speeds_along
from profiler.handling.staircase import AirStep, staircase
from profiler.handling.straddles import mass_quarters
from profiler.handling.timeline import Timeline, timeline
from profiler.handling.windows import Window, power_off_window, release_window, step_window
from profiler.mechanics.conditions import EVERY
from profiler.mechanics.course import course_of, drawn_along, effort_needed, held_back_by, in_use, places_of
from profiler.mechanics.dynamic import BINDING, group_dynamics
from profiler.mechanics.motion import FREE, Course
from profiler.mechanics.speed_limits import HeadLimit
from profiler.mechanics.terrain import Terrain
from profiler.train import Train
from profiler.units import GRAVITY, FloatArray

SURE = 1.645
"""Standard deviations of the draws by which more force is reckoned with, so that 95 % of them need less."""
SLOWER = (0.9, 0.8, 0.7, 0.6, 0.5)
"""Shares of the speed at the crest that are tried where a window is empty. [-]"""
SAME_CREST = 500.0
"""Crests of two plans no farther apart are the same. [m]"""
SLOWED_BEFORE = 1500.0
"""A train that must go down slower than it comes up has slowed so far before the crest. [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class DescentPlan:
    """How a train is handled over one descent; places of the head by distance travelled [m].

    ``holding`` is the table at the speeds the line allows, ``top`` the highest speed that holds, ``alone`` what the
    air must do without any dynamic brake; ``dynamic_brake`` is all of that at the worst place and the speed held [N],
    ``bound`` what holds it down in the head group there, one of `dynamic.BINDING`. ``quarters`` (5,) are the head
    positions with none to all of the train past the crest, ``cut`` those at which the notch that keeps the speed falls,
    and to which. ``power_off`` is None where the train is on the descent as the line begins; where its window is empty,
    ``opens_at`` is a lower speed at the crest at which it is not [m/s], NaN where none was found. ``slowed_from`` is
    the speed that the train would have at the crest [m/s], where its plan has less, so that there is a window; None
    elsewhere. ``dynamic`` is where the dynamic brake then begins, earliest, recommended and latest, None without
    either. ``steps`` are as recommended, ``windows`` theirs.
    """

    descent: Descent
    holding: Holding
    top: TopSpeed
    alone: AirAlone
    dynamic_brake: float
    bound: str
    approach: Approach
    timeline: Timeline
    quarters: FloatArray
    cut: tuple[tuple[float, int], ...]
    power_off: Window | None
    opens_at: float | None
    slowed_from: float | None
    dynamic: tuple[float, float, float] | None
    steps: tuple[AirStep, ...]
    windows: tuple[Window, ...]
    proof: Proof

    @property
    def held(self) -> bool:
        """Whether there is a speed at which the train is held."""
        return math.isfinite(self.top.speed)


@dataclass(frozen=True, kw_only=True, eq=False)
class LinePlan:
    """A train's descents on a line, in order of travel, its ``speeds`` and the ``course`` that knows them."""

    course: Course
    speeds: Speeds
    descents: tuple[DescentPlan, ...]


def plan_descents(
    train: Train, terrain: Terrain, posted: HeadLimit, drawn: Terrain | None = None, *, pace: float = 1.0
) -> LinePlan:
    """Plan every descent of a line.

    Parameters
    ----------
    train : Train
    terrain : Terrain
    posted : HeadLimit
        Limits and slow orders as the head meets them.
    drawn : Terrain, optional
        Heights (d, n) of all draws of the line: how sure the windows are.
    pace : float
        Speeds held, over what the crew customarily holds; no higher than is posted. [-]

    Raises
    ------
    InputError
        If a limit is below walking pace.
    """
    whole = _whole(train, terrain, posted, drawn, pace)
    slower = np.full(whole.places.size, FREE)
    tried = whole.plan(slower, {}, ())
    shut = [one for one in tried.descents if one.opens_at is not None and math.isfinite(one.opens_at)]
    for one in shut:
        beyond = one.descent.start + train.length
        on = (whole.places >= one.descent.crest - SLOWED_BEFORE) & (whole.places <= beyond)
        slower[on] = np.minimum(slower[on], one.opens_at or FREE)
    if not whole.drawn and not shut:
        return tried
    return whole.plan(slower, {one.descent.crest: one.approach.crest_speed for one in shut}, whole.drawn)


@dataclass(frozen=True, eq=False)
class _Whole:
    """What stays of a line while speeds are tried: ``plain`` courses of `EVERY` conditions, and one of each draw;
    ``doubt`` (p,) is how much more force may be needed [N], ``allowed`` the speeds that limits leave."""

    train: Train
    terrain: Terrain
    posted: HeadLimit
    pace: float
    plain: tuple[Course, ...]
    drawn: tuple[Course, ...]
    doubt: FloatArray
    allowed: Speeds

    @property
    def places(self) -> FloatArray:
        """Of the courses. [m]"""
        return places_of(self.plain[0])

    @cached_property
    def _tables(self) -> dict[Descent, tuple[Holding, TopSpeed]]:
        return {}

    def held(self, descent: Descent) -> tuple[Holding, TopSpeed]:
        """What holds on a descent at the speeds allowed, worked out once."""
        if descent not in self._tables:
            table = holding(self.plain[0], self.train, self.allowed, descent)
            top = kept_speed(self.plain[0], self.train, self.allowed, descent, table, self.doubt)
            self._tables[descent] = table, top
        return self._tables[descent]

    @cached_property
    def cap(self) -> FloatArray:
        """The highest speed that holds (p,). [m/s]"""
        cap = np.full(self.places.size, FREE)
        for descent in descents(self.plain[0], self.allowed, self.terrain, self.train.length):
            table, top = self.held(descent)
            if top.speed < table.speed[0]:
                on = (self.places >= descent.crest - SLOWED_BEFORE) & (self.places <= descent.end)
                cap[on] = np.minimum(cap[on], top.speed)
        return cap

    def plan(self, slower: FloatArray, slowed: Mapping[float, float], drawn: tuple[Course, ...]) -> LinePlan:
        """Every descent, speeds no higher than ``slower`` (p,) [m/s]; ``slowed`` are the speeds that trains would have
        at crests [m/s] by their places [m]."""
        train, usable = self.train, float(self.train.handling.usable_dynamic)
        speeds = speeds_along(self.plain[0], train, self.posted, self.cap, slower, pace=self.pace)
        courses, draws = (tuple(speeds.on(course) for course in some) for some in (self.plain, drawn))
        made: list[DescentPlan] = []
        for descent in descents(self.plain[0], speeds, self.terrain, train.length, share=usable):
            after = made[-1].descent.end if made else 0.0
            was = next((v for x, v in slowed.items() if abs(x - descent.crest) <= SAME_CREST), None)
            made.append(self._one(descent, speeds, courses, draws, after, was))
        return LinePlan(course=courses[0], speeds=speeds, descents=tuple(made))

    def _one(
        self,
        descent: Descent,
        speeds: Speeds,
        courses: tuple[Course, ...],
        drawn: tuple[Course, ...],
        after: float,
        slowed_from: float | None,
    ) -> DescentPlan:
        """One descent, approached from where the one before ends [m]."""
        train, course = self.train, courses[0]
        top_notch = course.effort.shape[1] - 1
        table, top = self.held(descent)
        set_up = timeline(train, top_notch).full
        come = approach(course, train, descent, after=after, top_notch=top_notch, set_up=set_up)
        line = timeline(train, come.notch)
        held = float(np.interp(descent.worst, places_of(course), speeds.hold))
        steps = staircase(course, train, speeds, descent, doubt=self.doubt)
        scene = Scene(train, descent, come, line, steps, courses, drawn, top_notch)
        off = power_off_window(scene) if come.head < descent.start else None
        place = -math.inf if off is None else off.recommended
        scene, windows = _air_windows(scene, place)
        proof = prove(scene, place, off, windows)
        if off is not None and not proof.sure and off.earliest <= off.surest < off.recommended:
            off = replace(off, recommended=off.surest)
            proof = prove(scene, off.surest, off, windows)
        return DescentPlan(
            descent=descent,
            holding=table,
            top=top,
            alone=air_alone(train, descent.force, held),
            dynamic_brake=float(held_back_by(course, descent.worst, held)),
            bound=_bound(train, course, descent.worst, held),
            approach=come,
            timeline=line,
            quarters=descent.crest + mass_quarters(train),
            cut=_cut(course, come, descent),
            power_off=off,
            opens_at=_opens_at(scene) if off is not None and off.empty else None,
            slowed_from=slowed_from,
            dynamic=None if off is None or line.full == line.idle else _dynamic(scene, off),
            steps=scene.steps,
            windows=windows,
            proof=proof,
        )


def _whole(train: Train, terrain: Terrain, posted: HeadLimit, drawn: Terrain | None, pace: float) -> _Whole:
    """A line, its courses and the speeds allowed on it."""
    plain = tuple(course_of(train, terrain, conditions=conditions) for conditions in EVERY)
    course = plain[0]
    lines = drawn_along(train, drawn, course) if drawn is not None else ()
    doubt = SURE * np.std([line.weight for line in lines], axis=0) if lines else np.zeros(course.weight.size)
    allowed = speeds_along(course, train, posted, pace=pace)
    return _Whole(train, terrain, posted, pace, plain, lines, doubt, allowed)


def _air_windows(scene: Scene, power_off: float) -> tuple[Scene, tuple[Window, ...]]:
    """Windows of every movement of the brake valve, one after the other, and the scene with each where its is best."""
    windows: list[Window] = []
    sure = True
    for i, step in enumerate(scene.steps):
        sure = sure and step.charged  # set again uncharged is nothing to rely on: no surer than what came before
        here = scene if sure else replace(scene, drawn=())
        window = (step_window if step.kind == "air_step" else release_window)(here, i, power_off)
        if not sure and windows:
            window = replace(window, fails=windows[-1].fails)
        windows.append(window)
        at = window.recommended if math.isfinite(window.recommended) else step.at
        scene = replace(scene, steps=tuple(replace(s, at=at) if s is step else s for s in scene.steps))
    return scene, tuple(windows)


def _bound(train: Train, course: Course, place: float, speed: float) -> str:
    """What holds the dynamic brake of the head group below the curve of its units."""
    head = train.groups[0]
    if head.place != "head":
        return BINDING[0]
    room = float(np.interp(place, places_of(course), course.push[0]))
    grade = (float(train.limits.buff) - room) / (head.mass * GRAVITY)
    return BINDING[int(group_dynamics(train, speed, grade).binding[0])]


def _opens_at(scene: Scene) -> float:
    """The highest speed at the crest, of some below that it has, at which power may go off in time on the estimate."""
    come, course = scene.approach, scene.courses[0]
    places = places_of(course)
    near = (places >= come.head) & (places <= scene.descent.start + scene.train.length)
    for share in SLOWER:
        cap = np.where(near, share * come.crest_speed, FREE)
        slower = tuple(c._replace(hold=np.minimum(c.hold, cap)) for c in scene.courses)
        again = approach(
            slower[0],
            scene.train,
            scene.descent,
            after=come.head,
            top_notch=scene.top_notch,
            set_up=timeline(scene.train, scene.top_notch).full,
        )
        line = timeline(scene.train, again.notch)
        tried = replace(scene, approach=again, line=line, courses=slower, drawn=())
        if not power_off_window(tried).empty:
            return again.crest_speed
    return math.nan


def _cut(course: Course, come: Approach, descent: Descent) -> tuple[tuple[float, int], ...]:
    """Where the notch that keeps the crest speed falls, from the crest to idle."""
    places = places_of(course)
    place = places[(places >= descent.crest) & (places <= come.balance)]
    speed = np.full(place.size, come.crest_speed)
    need = effort_needed(course, come.crest_speed)[np.searchsorted(places, place)]
    notch = np.minimum.accumulate(np.minimum(in_use(course, np.maximum(need, 0.0), place, speed), come.notch))
    falls = np.flatnonzero(np.diff(notch, prepend=come.notch) < 0)
    return tuple((float(place[i]), int(notch[i])) for i in falls)


def _dynamic(scene: Scene, off: Window) -> tuple[float, float, float]:
    """Where the dynamic brake begins, power having gone off earliest, as recommended and latest."""
    earliest, recommended, latest = (
        scene.head_after(place, scene.line.dynamic) for place in (off.earliest, off.recommended, off.latest)
    )
    return earliest, recommended, latest
