"""What every export says of itself: units, reference system, datum, caution; and what it cannot carry."""

from __future__ import annotations

from profiler.profile import Profile
from profiler.read import layout
from profiler.wording import CAUTION, INVENTED, capitalised, credit_words, datum_words, travel_words

CRS = "WGS 84, longitude and latitude in degrees (EPSG:4326, in the order of OGC:CRS84)"
UNITS = "Metric: the unit stands at the end of each column's name"


def facts(profile: Profile) -> dict[str, object]:
    """The same as values by key, for formats with a place for them; written by us, so that we know it again."""
    route, credit = profile.route, credit_words(profile.attribution, profile.licence)
    return {
        "written_by": layout.WRITTEN_BY,
        "caution": CAUTION,
        "invented": profile.invented,
        "coordinate_reference_system": CRS,
        "vertical_datum": profile.vertical_datum,
        **({"elevation_data": credit} if credit else {}),
        "units": UNITS,
        "post_unit": route.posts.unit,
        "posts_stated": route.posts.stated,
        "name": route.name,
        "ends": list(route.ends),
        "assumptions": [*route.assumptions, *profile.assumptions],
    }


def title(profile: Profile) -> str:
    """The name of the line."""
    return profile.route.name or travel_words(profile.route)


def description(profile: Profile, *more: str) -> str:
    """One paragraph for formats with a field for it, ``more`` being what only that format needs."""
    said = [
        *([INVENTED] if profile.invented else []),
        f"Written by {layout.WRITTEN_BY}, chainage {travel_words(profile.route)}.",
        *more,
        f"{capitalised(datum_words(profile.vertical_datum))}, positions on WGS 84.",
        *filter(None, [credit_words(profile.attribution, profile.licence)]),
        *(f"Assumed: {sentence}." for sentence in (*profile.route.assumptions, *profile.assumptions)),
        CAUTION,
    ]
    return " ".join(said)


def left_out(*things: str) -> str:
    """What a format leaves to the others; none but our own carries the draws."""
    return f"not in it: {', '.join((*things, f'the equally likely profiles ({layout.FILE_NAME} has them)'))}"
