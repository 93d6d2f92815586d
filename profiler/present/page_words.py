"""Words of the page that stand beside figures the reader moves; "%" is where a figure goes."""

from __future__ import annotations

from typing import Any

CASES = {"plan": "as planned", "slower": "held 10 % slower", "faster": "held 10 % faster"}
CASES_LONG = {
    "plan": "run as planned",
    "slower": "run with all speeds held 10 % lower",
    "faster": "run with all speeds held 10 % higher, nowhere over the posted limit",
}
LAYERS = (
    ("landmarks", "crests, sags and breaks"),
    ("structures", "tunnels and bridges"),
    ("posts", "posts"),
    ("stops", "where not to stop"),
    ("curves", "curves"),
    ("limits", "limits and slow orders"),
    ("slack", "slack"),
)
"""What the reader may show or hide."""
WORDS: dict[str, Any] = {
    "cases": CASES,
    "cases_long": CASES_LONG,
    "now": ["head", "rear", "limit for the whole train", "under the whole train,", "under the head,", ""],
    "pulls": "power that keeps %",
    "moves": "power that keeps it moving",
    "holds": "braking that keeps %",
    "of": ", of % there are",
    "by_plan": "By plan",
    "notch": "notch %",
    "dynamic": "dynamic brake",
    "air": "air",
    "idle": "idle",
    "past": "% % of its mass past the crest",
    "not_run": "By plan it does not come past here: it stalls before, and goes on at the next descent.",
    "not_run_short": "not run here",
    "pull": "pull",
    "push": "push",
    "caution": "caution",
    "limit": "limit",
    "over": "over",
    "list": "marks of this stretch by post, head end · % of %",
    "head": "head",
    "at": "Head at post %",
    "left": "Left behind: %",
    "no_post": "There is no such post on this line.",
    "play": "Play",
    "stop": "Stop",
}
