"""Names of everything an output folder of a profile can hold."""

PROFILE_FILES = (
    "profile.csv",
    "landmarks.csv",
    "grades.csv",
    "pvis.csv",
    "known_elevations.csv",
    "curves.csv",
    "straddles.csv",
    "profile.gpkg",
    "map.html",
    "chart.svg",
    "chart.png",
    "provenance.json",
)
