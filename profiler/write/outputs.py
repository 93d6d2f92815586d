"""Names of everything that output folders can hold."""

PROFILE_FILES = (
    "profile.csv",
    "landmarks.csv",
    "grades.csv",
    "pvis.csv",
    "known_elevations.csv",
    "curves.csv",
    "alignment.csv",
    "corners.csv",
    "posts.csv",
    "straddles.csv",
    "practice.csv",
    "datapackage.json",
    "profile.gpkg",
    "map.html",
    "chart.svg",
    "chart.png",
    "provenance.json",
)

BESIDE_FILES = ("beside.csv", "differences.csv", "beside.svg", "beside.png")
"""The same of lines side by side."""

COMPARISON_FILES = ("comparison.csv", "summary.csv", "comparison.svg", "comparison.png")
"""The same of a profile held against a reference."""

BRIEFING_FILES = (
    *("under_train.csv", "marks.csv", "starting.csv", "starting_sequence.csv", "rolled_back.csv"),
    *("climbs.csv", "units_to_use.csv", "rating.csv", "remote.csv", "helpers.csv", "datapackage.json"),
    *("run.csv", "descents.csv", "descent_plans.csv", "crest_timeline.csv", "slow_orders.csv", "air_ledger.csv"),
    *("what_if.csv", "dynamic_lost.csv", "standing.csv", "stopping.csv"),
    *("in_train.csv", "make_up_ranking.csv"),
    *("map.html", "chart.svg", "chart.png", "starting.svg", "starting.png", "sudden.svg", "sudden.png"),
    *("briefing.pdf", "briefing.html"),
)
"""The same of a briefing for one train in one direction."""

BRIEFINGS_FILES = ("page.html", "provenance.json")
"""The same of the folder that holds briefings."""

DATA_PACKAGE_FILES = (
    *(name for name in PROFILE_FILES if name.endswith(".csv")),
    *("structures.csv", "places.csv", "limits.csv", "datapackage.json"),
)
"""The same of an export as CSV."""
