"""Tables of what couplers feel at marked places, as planned and suddenly, and of where in the train it is felt most."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from profiler.briefing.plan import Briefing
from profiler.briefing.sudden import after_place, curves_of, most_felt, parts_of
from profiler.handling.felt import Felt
from profiler.mechanics.couplers import vehicles_of
from profiler.mechanics.draft_gear import gears_of
from profiler.mechanics.in_train import Extreme
from profiler.units import KMH, PERCENT, TONNE, FloatArray
from profiler.write.cells import Columns, Texts, fixed
from profiler.write.places import at_head, kilonewtons, whole, yes


def in_train_tables(briefing: Briefing) -> dict[str, Columns]:
    """Both tables by their names."""
    return {"in_train": _in_train(briefing), "make_up_ranking": _ranking(briefing)}


def _in_train(briefing: Briefing) -> Columns:
    """A row for each place, way and state of wear."""
    felt = briefing.felt
    slack = {f.wear: max(float(gear.slack) for gear in gears_of(briefing.train, f.wear)) for f in felt}
    curves = [_worst_curve(briefing, one) for one in felt]
    parted = [one.forces.parted for one in felt]
    drafts, buffs = [one.forces.draft for one in felt], [one.forces.buff for one in felt]
    return {
        "kind": [one.event.kind for one in felt],
        **at_head(briefing, [one.event.place for one in felt]),
        "way": [one.event.way for one in felt],
        "wear": [one.wear for one in felt],
        "slack_mm": fixed([slack[one.wear] * 1000 for one in felt], 0),
        "steady_draft_kn": kilonewtons([one.draft.force for one in felt]),
        "draft_kn": kilonewtons([most.force for most in drafts]),
        "draft_behind_vehicle": _behind(drafts),
        "draft_after_s": _after(felt, drafts),
        "draft_limit_kn": kilonewtons([one.draft_limit for one in felt]),
        "over_draft_limit": yes([one.over_draft for one in felt]),
        "steady_buff_kn": kilonewtons([one.buff.force for one in felt]),
        "buff_kn": kilonewtons([most.force for most in buffs]),
        "buff_behind_vehicle": _behind(buffs),
        "buff_after_s": _after(felt, buffs),
        "buff_limit_kn": kilonewtons([one.buff_limit for one in felt]),
        "over_buff_limit": yes([one.over_buff for one in felt]),
        "run_in_kmh": fixed([one.forces.run_in.speed / KMH for one in felt], 2),
        "run_in_behind_vehicle": whole(
            [one.forces.run_in.vehicle + 1 if one.forces.run_in.speed > 0 else None for one in felt]
        ),
        "breaks": yes([one.breaks for one in felt]),
        "parted_m": at_head(briefing, [None if one is None else one.head for one in parted])["head_m"],
        "lateral_over_vertical": fixed([None if found is None else found[0] for found in curves], 3),
        "curve_vehicle": whole([None if found is None or not found[0] else found[1] + 1 for found in curves]),
        "step_changes_pct": fixed([one.forces.changes / PERCENT for one in felt], 2),
    }


def _worst_curve(briefing: Briefing, one: Felt) -> tuple[float, int] | None:
    """The largest lateral over vertical force and its vehicle, counted from 0."""
    found = curves_of(briefing, one)
    if found is None:
        return None
    ratio = np.maximum(found.inward, found.outward).max(axis=0)
    return float(ratio.max()), int(ratio.argmax())


def _behind(most: Iterable[Extreme]) -> list[str]:
    return whole([one.vehicle + 1 if one.force > 0 else None for one in most])


def _after(felt: Sequence[Felt], most: Sequence[Extreme]) -> list[str]:
    times = [after_place(one, at.time) if at.force > 0 else None for one, at in zip(felt, most, strict=True)]
    return fixed(times, 1)


def _ranking(briefing: Briefing) -> Columns:
    """A row for each vehicle, from the head end."""
    train, vehicles = briefing.train, vehicles_of(briefing.train)
    middle = (vehicles.edge[1:] + vehicles.edge[:-1]) / 2 / vehicles.edge[-1]
    found = {name: most_felt(briefing, "usual", sudden=name == "sudden") for name in ("planned", "sudden")}
    largest: FloatArray = np.max([x for one in found.values() for x in (one.draft, one.buff)], axis=0)
    rank = np.empty(largest.size, dtype=int)
    rank[np.argsort(-largest, kind="stable")] = np.arange(1, largest.size + 1)
    forces: dict[str, list[str]] = {}
    for name, most in found.items():
        forces[f"{name}_draft_kn"] = kilonewtons(most.draft)
        forces[f"{name}_buff_kn"] = kilonewtons(most.buff)
        forces[f"{name}_lateral_over_vertical"] = fixed(most.ratio, 3)
    return {
        "vehicle": whole(np.arange(1, train.vehicles + 1)),
        "vehicle_name": Texts(train.blocks[b].vehicle.name for b in train.vehicle_block),
        "part": parts_of(train),
        "behind_head_share": fixed(middle, 3),
        "mass_t": fixed(vehicles.mass / TONNE, 1),
        "length_m": fixed(np.diff(vehicles.edge), 1),
        **forces,
        "rank": whole(rank),
    }
