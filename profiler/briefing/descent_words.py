"""Marks of descents in words: why an act begins there, what happens sooner or later, and how sure that is.

Customs come from study cards of a train handling rule book (S80) and from the Alaska Railroad's rules of 1996 (S28).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from profiler import wording
from profiler.handling.approach import floor_under
from profiler.handling.holding import SLOWEST_HELD
from profiler.handling.staircase import CHARGED
from profiler.handling.timeline import BUNCHING_SHARE
from profiler.handling.windows import CAUTIOUS, LEAST_RELEASE
from profiler.mark import Mark
from profiler.mechanics.air import COLD_AND_LEAKY, charged_after, farthest_feed, released_after
from profiler.mechanics.air_applied import built_up_after
from profiler.mechanics.conditions import SHOES_HIGH, SHOES_LOW
from profiler.route import Posts
from profiler.train import Train
from profiler.train_words import force_text, pressure_text, speed_text
from profiler.units import PSI, UNITS

DESCENT_KINDS = ("power_off", "dynamic_brake", "air_step", "release", "not_held")
_NAMES = {
    "power_off": "power off",
    "dynamic_brake": "dynamic brake",
    "not_held": "not held",
    "first": "air set",
    "more": "more air",
    "uncharged": "air again, not charged",
    "release": "air released",
    "ease": "air eased",
    "cycle_or_stop": "cycle or stop",
}
OVERSPEED_RULE = (
    "custom where it is 1 % and steeper: a train more than 5 mph over its speed is stopped, by emergency if need be "
    "(49 CFR 232.109, from memory); local rules come first"
)
_OPENS = "a lower speed over the crest, a quicker set-up, another train or limit would open one"
_NEAR = 10.0
"""Places no farther apart than this are told as one. [m]"""


def descent_name(mark: Mark) -> str:
    """ "power off", "air set", "cycle or stop": a mark of a descent in as few words as there are."""
    return _NAMES[mark.reason if mark.kind in ("air_step", "release") else mark.kind]


def descent_short(mark: Mark, units: str) -> str:
    """What a mark of a descent is about in a few words, for a picture."""
    if mark.kind == "not_held":
        return f"{force_text(mark.value, units)} to hold it"
    if mark.reason == "cycle_or_stop" or (mark.kind != "dynamic_brake" and mark.figure("empty")):
        return "no window"
    if mark.kind == "power_off":
        return f"{speed_text(mark.value, units)} at the crest"
    if mark.kind == "dynamic_brake":
        return f"up to {share_words(mark.value)}" if mark.value > 0 else "to slow down"
    return step_words(mark.figure("before"), mark.value, units)


def step_words(before: float, after: float, units: str) -> str:
    """ "7 psi", "7 to 10 psi", "from 10 psi": the brake valve moved from one reduction to another [Pa]."""
    if before == 0:
        return pressure_text(after, units)
    if after == 0:
        return f"from {pressure_text(before, units)}"
    return f"{pressure_text(before, units).rpartition(' ')[0]} to {pressure_text(after, units)}"


def descent_words(mark: Mark, train: Train, units: str, posts: Posts | None = None) -> str:
    """Why a mark of a descent is there, its window, and how sure it is, in one line.

    Without posts, places are told from the crest.
    """
    told = _Told(mark, train, units, posts)
    parts = {
        "power_off": told.power_off,
        "dynamic_brake": told.dynamic_brake,
        "air_step": told.air_step,
        "release": told.release,
        "not_held": told.not_held,
    }[mark.kind]
    return "; ".join(parts())


def time_words(seconds: float) -> str:
    """ "50 s", "3.5 min"."""
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / UNITS['minutes']:.1f} min"


def charging_words(train: Train) -> str:
    """How long the pipe takes to be charged again after a release, normally and in a cold or leaky train."""
    normal = charged_after(farthest_feed(train), CHARGED)
    cold = time_words(COLD_AND_LEAKY * normal)
    return f"the pipe is {share_words(CHARGED)} charged again {time_words(normal)} later, cold or leaky {cold}"


def share_words(share: float) -> str:
    """ "83 %": a share, above 1 too."""
    return f"{wording.number(100 * share)} %"


def draws_words(share: float) -> str:
    """ "none", "3 %": how many of the draws."""
    return "none" if share == 0 else wording.percent_text(share)


@dataclass(frozen=True)
class _Told:
    """A mark and for whom it is told; places within are by distance travelled past the crest [m]."""

    mark: Mark
    train: Train
    units: str
    posts: Posts | None

    def way(self, name: str) -> float:
        """A place among the figures, infinite beyond where it was looked for, NaN for none."""
        sign = 1 if self.mark.direction == "with" else -1
        return sign * (self.mark.figure(name) - self.mark.figure("crest"))

    @property
    def here(self) -> float:
        """The place of the mark."""
        sign = 1 if self.mark.direction == "with" else -1
        return sign * (self.mark.recommended - self.mark.figure("crest"))

    def place(self, way: float, end: float | None = None) -> str:
        """A place, or a stretch, in words."""
        ends = [way] if end is None or abs(end - way) < _NEAR else [way, end]
        if self.posts is None:
            sides = ["past" if x >= 0 else "before" for x in ends]
            return " to ".join(f"{self.length(abs(x))} {side} the crest" for x, side in zip(ends, sides, strict=True))
        sign = 1 if self.mark.direction == "with" else -1
        first, last = (self.mark.figure("crest") + sign * x for x in (ends[0], ends[-1]))
        return wording.stretch_words(self.posts, first, last, 2)

    def length(self, length: float) -> str:
        return wording.short_length_text(length, self.units)

    def speed(self, name: str) -> str:
        return speed_text(self.mark.figure(name), self.units)

    def has(self, name: str) -> bool:
        """Whether there is a figure of a name."""
        return any(figure.name == name for figure in self.mark.figures)

    @property
    def usable(self) -> str:
        return share_words(self.train.handling.usable_dynamic)

    @property
    def floor(self) -> str:
        """The speed below which the hill is lost."""
        return speed_text(float(floor_under(np.array(self.mark.figure("crest_speed")))), self.units)

    def power_off(self) -> Iterator[str]:
        mark = self.mark
        notch, idle = round(mark.figure("notch")), mark.figure("idle_time")
        crest, slow = speed_text(mark.value, self.units), mark.reason == "slow"
        if mark.reason == "stalls":
            yield f"the train stalls before the crest; told as if it were got over it at {crest}"
        if self.has("slowed_from"):
            without = self.speed("slowed_from")
            yield f"the crest is to be passed at {crest}: at {without}, as it would be, no place is right"
        act = f"power off by here, notch {notch} to idle in {idle:.0f} s," if notch else "power off by here"
        if slow:
            yield f"{act} so that it is down to a lower speed in time"
        else:
            balance = self.place(self.way("balance"))
            yield f"{act} so that the train idles by the balance point, {balance}, having passed the crest at {crest}"
            if notch:
                yield f"a hand half as quick begins {self.length(mark.value * idle)} sooner"
        if mark.figure("top") < mark.figure("allowed") - 0.01:
            top, allowed = self.speed("top"), self.speed("allowed")
            yield f"planned at {top}, not at the {allowed} that the limit leaves: that is not held all the way down"
        sooner = self.way("custom") - self.here
        if sooner > _NEAR and not slow and not mark.figure("empty"):
            late = f"in more than {share_words(CAUTIOUS)} of the draws"
            if abs(self.way("weak") - self.here) < _NEAR < self.way("spread_low") - self.here:
                late = "with weak shoes and little resistance"
            yield f"custom would have it {self.length(sooner)} later, too late {late}"
        lost = f"wherever power goes off it falls below {self.floor} and loses the hill"
        opens = "a lighter train or more power over the crest would open one"
        yield from self.window(lost, opens, f"stays above {self.floor}, below which the hill would be lost")
        yield from self.sureness()
        if not math.isnan(mark.figure("late")):
            late, reacting = (draws_words(mark.figure(x)) for x in ("late", "late_reacting"))
            yield f"begun here, {late} of the draws pass the limit, {reacting} with the customary reaction"

    def window(self, lost: str, opens: str, keeps: str) -> Iterator[str]:
        """From where to where, or why nowhere and what would open a window whose safe side is its latest."""
        earliest, latest, limit = self.way("earliest"), self.way("latest"), self.speed("limit")
        if self.mark.figure("empty"):
            if not math.isfinite(earliest):
                yield f"no window: {lost}; {opens}"
                return
            if math.isnan(latest):
                why = f"however early, it passes {limit}"
            elif earliest > latest:
                why = f"until {self.place(earliest)} it loses the hill, after {self.place(latest)} it passes {limit}"
            elif self.here < earliest:
                why = f"the draws or weak shoes ask for {self.place(self.here)}, until {self.place(earliest)} it loses "
                why += "the hill"
            else:
                why = f"the plan has it at {self.place(self.here)}, after {self.place(latest)} it passes {limit}"
            found = self.has("opens_at") and math.isfinite(self.mark.figure("opens_at"))
            opens = f"{self.speed('opens_at')} over the crest would open one" if found else _OPENS
            yield f"no window: {why}; {opens}"
            return
        if math.isfinite(earliest):
            yield f"from {self.place(earliest)} on it {keeps}"
        if math.isfinite(latest):
            yield f"later than {self.place(latest)} it would pass {limit}"
        elif self.mark.kind == "power_off":
            yield f"no latest: as far as was tried it does not pass {limit}"
        else:
            yield f"no latest: the whole dynamic brake would keep it below {limit} without"

    def sureness(self) -> Iterator[str]:
        """What the draws and weak shoes make of the safe side."""
        low, high, weak = (self.way(name) for name in ("spread_low", "spread_high", "weak"))
        side = "first" if self.mark.kind == "release" else "last"
        found = [x for x in (low, high) if math.isfinite(x)]
        if found:
            where = self.place(found[0], found[-1]) + (" or later" if math.isinf(high) else "")
            yield f"over the draws of the line the {side} place, half the margin kept, is {where}"
        beside = f"with shoes × {SHOES_LOW:g} and little resistance"
        if math.isfinite(weak):
            yield f"{beside} {self.place(weak)}"
        elif math.isnan(weak) or side == "first":
            yield f"{beside} no place would do"
        yield from self.other_side()
        if self.mark.figure("fails"):
            yield f"in {wording.percent_text(self.mark.figure('fails'))} of the draws no place would do"

    def other_side(self) -> Iterator[str]:
        """What strong shoes and much resistance make of the side where the train is lost or stopped."""
        release = self.mark.kind == "release"
        usual, strong = self.way("latest" if release else "earliest"), self.way("strong")
        beside = f"with shoes × {SHOES_HIGH:g} and much resistance"
        if release and math.isnan(strong) and not math.isnan(usual):
            yield f"{beside} it is too slow at any place"
        elif not release and math.isinf(strong) and not math.isinf(usual):
            yield f"{beside} no place would do: it is stopped"
        elif release and strong < usual - _NEAR:
            yield f"{beside} no later than {self.place(strong)}"
        elif not release and strong > usual + _NEAR:
            yield f"{beside} not before {self.place(strong)}"

    def dynamic_brake(self) -> Iterator[str]:
        mark, pause = self.mark, float(self.train.handling.pause)
        begins, bunched, full = (mark.figure(f"{x}_time") for x in ("dynamic", "bunched", "full"))
        yield (
            f"dynamic brake from here, {begins:.0f} s after the first notch off, idle for {pause:.0f} s as is custom; "
            f"{share_words(BUNCHING_SHARE)} of it bunches the slack, raised from {bunched:.0f} to {full:.0f} s (our "
            "choice)"
        )
        if mark.value > 0:
            air = mark.figure("reduction")
            beside = f" beside {pressure_text(air, self.units)} of air" if air > 0 else " alone"
            top = self.speed("top")
            share = share_words(mark.value)
            yield f"at the hardest place {share} of it{beside} holds {top}, {self.usable} counts as usable"
        elif mark.value <= 0:
            yield "it slows the train down; once slow, its resistance holds it"
        earliest, latest = self.way("earliest"), self.way("latest")
        if earliest <= latest < math.inf:
            yield f"power going off in its window, it begins at {self.place(earliest, latest)}"

    def air_step(self) -> Iterator[str]:
        mark, before, after = self.mark, self.mark.figure("before"), pressure_text(self.mark.value, self.units)
        half, most = (built_up_after(self.train, share) for share in (0.5, 0.95))
        need = self.place(self.way("need"))
        built = f"half built up in {half:.0f} s, 95 % in {most:.0f} s"
        alone = f"the {self.usable} of the dynamic brake that counts as usable"
        with_it = f"{pressure_text(before, self.units)} and {alone}" if before else alone
        moved = step_words(before, mark.value, self.units)
        if before == 0 and abs(mark.value - float(self.train.handling.reductions[0])) < 1.0:
            moved = f"the least reduction, {moved},"
        if mark.reason == "uncharged":
            charging = charging_words(self.train)
            yield f"{after} again before the pipe is charged: it does less than the gauge shows; {charging}"
        yield f"{moved} from here, {built}, so that it works by {need}, where {with_it} would no longer hold"
        lost = f"wherever it is set the train falls below {self.floor}: it takes more than is needed"
        opens = "a lower speed, at which the dynamic brake does alone, would do without"
        yield from self.window(lost, opens, "is not stopped by it")
        yield from self.sureness()

    def release(self) -> Iterator[str]:
        mark, train = self.mark, self.train
        direct = train.air_brake == "direct release"
        moved = step_words(mark.figure("before"), mark.value, self.units)
        earliest, latest, limit = self.way("earliest"), self.way("latest"), self.speed("limit")
        slow = speed_text(LEAST_RELEASE, self.units) if direct else self.floor
        if mark.reason == "cycle_or_stop":
            yield f"air planned to be let go here, {moved}, but {self._no_release(earliest, latest, limit, slow)}"
        else:
            eased = f"eased {moved} from here" if mark.reason == "ease" else f"air let go from here, {moved}"
            yield f"{eased}: what lies ahead is held with less"
            if math.isfinite(earliest):
                yield f"from {self.place(earliest)} on it does not pass {limit} after it"
            if math.isfinite(latest):
                yield f"later than {self.place(latest)} it would be below {slow}"
            if mark.figure("empty"):
                yield f"no window: the plan has it at {self.place(self.here)}; a lower speed or less air would open one"
        if direct:
            half, most = (time_words(released_after(train, farthest_feed(train), x)) for x in (0.5, 0.95))
            yield f"the rear lets go half in {half}, 95 % in {most}; {charging_words(train)} (our choice of constants)"
            shown = pressure_text(10 * PSI, self.units)
            yield f"custom before it: {shown} in all, exhaust stopped; many rules forbid a running release when slow"
        yield from self.sureness()

    def _no_release(self, earliest: float, latest: float, limit: str, slow: str) -> str:
        """Why no release works, and what is left."""
        if math.isinf(earliest) and earliest > 0:
            why = f"wherever it is released it passes {limit}"
        elif math.isnan(latest):
            why = f"it is below {slow} already"
        elif not earliest <= latest:
            why = f"until {self.place(earliest)} it would pass {limit}, after {self.place(latest)} it is below {slow}"
        else:
            why = "air is wanted again before the pipe is charged"
        if self.train.air_brake == "direct release":
            why += "; cycle braking only where the pipe is charged again between applications, otherwise a stop, and "
            why += "hand brakes or retainers before the air is let go there (local rules)"
        return f"no window: {why}; a lower speed, more dynamic brake or a lighter train would open one"

    def not_held(self) -> Iterator[str]:
        mark, units = self.mark, self.units
        slowest, allowed = speed_text(SLOWEST_HELD, units), self.speed("allowed")
        speeds = f"not held at any speed from {allowed} down to {slowest}"
        if math.isnan(mark.figure("force_speed")):
            yield f"{speeds} by {self.usable} of the dynamic brake and any reduction planned with"
        else:
            yield f"{speeds}: the brakes would at {self.speed('force_speed')}, but the wheels get too hot"
        at = mark.recommended
        where = "" if self.posts is None else f" at {wording.stretch_words(self.posts, at, at, 2)}"
        length = self.length(mark.figure("worst_length"))
        yield f"at worst {force_text(mark.value, units)} are needed{where}, over {length}"
        share, weak = (mark.figure(x) for x in ("full_service_share", "weak_share"))
        if math.isinf(share):
            yield "no car has an air brake that works"
        else:
            shares = f"{share_words(share)} of full service, {share_words(weak)} with shoes × {SHOES_LOW:g}"
            yield f"air alone would take {shares}"
        yield "more dynamic brake, fewer or lighter cars would change it"
        yield OVERSPEED_RULE
