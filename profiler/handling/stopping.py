"""Stopping distances on the real grade: from the speed held, at a place or so as to stop there, service and emergency.

No air is on before. Delay and build-up are those of the train; a train gains speed on a grade until they are over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from profiler.cited import Cited
from profiler.handling.approach import extremes_of
from profiler.handling.descents import Descent
from profiler.handling.speeds import Speeds
from profiler.mechanics.air import full_service_reduction
from profiler.mechanics.air_acts import emergency, moved
from profiler.mechanics.conditions import NOMINAL, SHOES_LOW, Conditions
from profiler.mechanics.course import FASTEST, Act, acts_of, places_of
from profiler.mechanics.motion import Course
from profiler.mechanics.slowing import stop
from profiler.train import Train
from profiler.units import FloatArray

OVERSPEED = {"us": Cited(5, "mph", "mem"), "metric": Cited(8, "kmh", "choice")}
"""Above the limit, by what people read: on 1 % and steeper a train faster than that must be stopped (49 CFR 232.109,
from memory). [m/s]"""
TOLERANCE, SHARE = 1.0, 0.01
"""Where a stop begins is found to so much [m], or such a share of its length [-]."""
LONGEST = 10_000.0
"""A train that has not stopped so far on counts as one that never does. [m]"""
NEAR = 1000.0
"""A stop that misses its place by more has not to be known. [m]"""
TRIED_EVERY = 500.0
"""Along a descent, stops are tried so far apart. [m]"""

How = Literal["service_dynamic", "service", "emergency", "emergency_over"]
WAYS: tuple[How, ...] = ("service_dynamic", "service", "emergency", "emergency_over")
"""Full service with the dynamic brake as far as usable, or without any; emergency, which cuts the dynamic brake out,
from the speed held, or from `OVERSPEED` above the limit."""


@dataclass(frozen=True, kw_only=True)
class Stopping:
    """One stop: ``how``, with ``weak`` shoes or as they are, begun with the head at a place at a ``speed`` [m/s].

    ``distance`` [m] and ``time`` [s] until the train stands, infinite for never; ``top_speed`` on the way [m/s],
    likewise.
    ``begins`` is the head position at which the brake is begun to stop at that place instead [m], minus infinity where
    that cannot be done on this line.
    """

    how: How
    weak: bool
    speed: float
    distance: float
    time: float
    top_speed: float
    begins: float

    @property
    def stops(self) -> bool:
        """Whether the train comes to rest at all."""
        return math.isfinite(self.distance)


@dataclass(frozen=True)
class StopAt:
    """Stops with the head at a place ``head`` by distance travelled [m]: all `WAYS`, then all with weak shoes."""

    head: float
    ways: tuple[Stopping, ...]

    def way(self, how: How, *, weak: bool = False) -> Stopping:
        """One of them."""
        return next(way for way in self.ways if way.how == how and way.weak == weak)


@dataclass(frozen=True, eq=False)
class Stops:
    """A train on its course, with the acts of every way to stop tabled.

    A stop needs more than the weight along the track at rest, where the dynamic brake gives nothing. It is run forward
    from where the valve is moved (`slowing.stop`), beyond the line too, where the grade under the train stays. The last
    place from which a stop ends no farther than at the place may be one before a grade that it could not end on.
    """

    train: Train
    course: Course
    speeds: Speeds

    @cached_property
    def _air(self) -> dict[tuple[str, bool], tuple[FloatArray, float]]:
        """Force of the air over time each second [N], and share of the dynamic brake, by kind and weak shoes."""
        full, usable = full_service_reduction(self.train), float(self.train.handling.usable_dynamic)
        made = {}
        for weak, conditions in ((False, NOMINAL), (True, Conditions(shoes=float(SHOES_LOW)))):
            service = np.asarray(moved(self.train, 0.0, full, conditions=conditions).value)
            made["service_dynamic", weak] = service, usable
            made["service", weak] = service, 0.0
            made["emergency", weak] = np.asarray(emergency(self.train, conditions=conditions).value), 0.0
        return {**made, **{("emergency_over", weak): made["emergency", weak] for weak in (False, True)}}

    @cached_property
    def _unlimited(self) -> Course:
        """Of which speeds are told as they are."""
        return self.course._replace(limit=np.zeros(self.course.limit.size))

    def speed(self, how: How, head: float) -> float:
        """Speed from which a stop is made with the head at a place [m]. [m/s]"""
        by_place = self.speeds.limit if how == "emergency_over" else self.speeds.hold
        over = float(OVERSPEED[self.train.units]) if how == "emergency_over" else 0.0
        return float(np.interp(head, places_of(self.course), by_place)) + over

    def rests(self, how: How, head: float, *, weak: bool = False, until: float = math.inf) -> float:
        """Where the head comes to rest if a stop is begun at a place [m]; infinite for never, or past ``until``."""
        air, share = self._air[how, weak]
        acts = acts_of([Act("air", air), Act("dynamic", share)])
        speed, last = self.speed(how, head), min(head + LONGEST, until)
        found = extremes_of(self._unlimited, acts, head=head, speed=speed, until=last, beyond=FASTEST)
        return found.head if found.speed <= 0 else math.inf

    def stopping(self, how: How, head: float, *, weak: bool = False) -> Stopping:
        """One stop with the head at a place [m]."""
        air, share = self._air[how, weak]
        speed = self.speed(how, head)
        distance = time = top = math.inf
        if math.isfinite(self.rests(how, head, weak=weak)):
            found = stop(self.course, head=head, speed=speed, air=air, share=share)
            distance, time, top = found.distance, found.time, found.top_speed
        begins = self.begins(how, head, weak=weak)
        return Stopping(how=how, weak=weak, speed=speed, distance=distance, time=time, top_speed=top, begins=begins)

    def begins(self, how: How, place: float, *, weak: bool = False) -> float:
        """Where a stop is begun that ends at a place [m]; minus infinity if nowhere on the line.

        The later it is begun the later it ends: it is begun sooner by what it misses the place by, or, where that does
        not close in, halfway between one that is late and one that is not.
        """
        first = max(self.course.first, place - LONGEST)
        low, high, head, back, turn = -math.inf, place, place, 250.0, 0
        while high - low > max(TOLERANCE, SHARE * (place - high)):
            over = self.rests(how, head, weak=weak, until=place + (LONGEST if head == place else NEAR)) - place
            if over > 0 and head <= first:
                return -math.inf
            low, high = (low, head) if over > 0 else (head, high)
            if -max(TOLERANCE, SHARE * (place - head)) < over <= 0:
                break
            turn += 1
            sooner = head - over - max(TOLERANCE, SHARE * (place - head)) / 4
            if math.isinf(low):
                head, back = (max(sooner, first), back) if math.isfinite(over) else (max(head - back, first), 2 * back)
            else:
                head = sooner if turn % 3 and low < sooner < high else (low + high) / 2
        return low

    def at(self, heads: Sequence[float]) -> Iterator[StopAt]:
        """All stops at places [m]."""
        for head in heads:
            ways = [self.stopping(how, head, weak=weak) for weak in (False, True) for how in WAYS]
            yield StopAt(float(head), tuple(ways))

    def hardest(self, descent: Descent) -> float:
        """The place of a descent from which a full service without dynamic brake takes longest [m]; the first that it
        never stops from."""
        tried = [*np.arange(descent.start, descent.end, TRIED_EVERY).tolist(), descent.worst]
        way = [self.rests("service", head) - head for head in sorted(tried)]
        return float(sorted(tried)[int(np.argmax(way))])
