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
FELT = "What couplers feel at marked places is followed for the plan itself, not for speeds held lower or higher."
NOT_FELT = (
    "Coupler forces here are steady ones; what couplers feel at marked places, handled gradually and suddenly, is "
    "followed where it is asked for: gradewright brief with --sudden."
)
_FELT_WORDS: dict[str, Any] = {
    "short": {
        "gentler": "more gently",
        "no_pause": "no pause",
        "dynamic_at_once": "dynamic at once",
        "throttle_at_once": "throttle at once",
        "release_at_once": "released at once",
        "bunched_full_notch": "bunched, full notch",
    },
    "planned": "As planned",
    "suddenly": "Suddenly",
    "gentler": "More gently",
    "beside": "Beside the plan",
    "broken": "as planned a coupling breaks with % slack",
    "figures": "Largest coupler forces, usual slack",
    "pull": "Pull",
    "push": "Push",
    "limit": "limit %",
    "over": "% over",
    "up_to_over": "up to % over",
    "range": "(% to %)",
    "steady": "steady %",
    "none": "none",
    "closes": "Slack closes at up to",
    "breaks": "Breaks",
    "whole": "no coupling",
    "parted": "breaks",
    "in_train": "In the train",
    "behind": "Behind",
    "by_car": "By car, in figures",
    "picture": "Coupler forces by time and car: %. The figures stand in the tables below.",
    "read": "Up, open: the largest pull anywhere in the train; down, solid: the largest push; grey: as far as with "
    "other slack. Dashed: limits. Thin: the largest steady force. Below, the same behind single cars, by seconds from "
    "where the act begins.",
}
WORDS: dict[str, Any] = {
    "felt": _FELT_WORDS,
    "cases": CASES,
    "cases_long": CASES_LONG,
    "now": ["head", "rear", "limit for the whole train", "under the whole train,", "under the head,", ""],
    "pulls": "power that keeps %",
    "moves": "power that keeps it moving",
    "holds": "braking that keeps %",
    "of": ", of % there are",
    "by_plan": "By plan",
    "notch": "notch %",
    "power": "power",
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
