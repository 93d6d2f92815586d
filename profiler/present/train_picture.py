"""A train to scale, its head to the right: units solid, loads grey, empties white."""

from __future__ import annotations

from profiler.present.palette import INK, WHITE, WINDOW_FILL
from profiler.present.sheet import Sheet
from profiler.present.signs import upright
from profiler.present.typeface import CAPTION
from profiler.train import Train

_HIGH, _RAIL, _SHEET = 11.0, 14.0, 30.0
_TALL = {"locomotive": 1.0, "loaded": 0.85, "empty": 0.6}
"""Heights of vehicles among each other. [-]"""
_GAP = 0.12
"""Of a vehicle's length, left between it and the next."""


def train_picture(train: Train, width: float) -> Sheet:
    """Every vehicle of a train as a box on one rail, ``width`` wide in all. [pt]"""
    sheet = Sheet(width, _SHEET)
    scale = (width - 8.0) / train.length
    shapes, fills = [], []
    for head, block in zip(train.vehicle_heads, train.vehicle_block, strict=True):
        vehicle = train.blocks[int(block)].vehicle
        kind = "locomotive" if vehicle.kind == "locomotive" else "loaded" if vehicle.loaded else "empty"
        front = width - 4.0 - float(head) * scale
        back = front - float(vehicle.length) * scale * (1 - _GAP)
        shapes.append(upright(back, _RAIL, front, _RAIL + _HIGH * _TALL[kind]))
        fills.append({"locomotive": INK, "loaded": WINDOW_FILL, "empty": WHITE}[kind])
    sheet.areas(shapes, fills, edge=INK, width=0.4)
    sheet.lines([[(0.0, _RAIL - 1.0), (width, _RAIL - 1.0)]], width=0.9)
    sheet.text(width - 4.0, 2.6, "head", CAPTION, align="right")
    words = "solid: units, grey: loads, white: empties"
    sheet.text(4.0, 2.6, words, CAPTION)
    return sheet
