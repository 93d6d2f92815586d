"""The line as KML 2.2 (OGC 07-147r2): grade runs in the colours of their classes, placemarks along them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from profiler import wording
from profiler.grade_classes import DOWN, UP, class_limits, signed_class
from profiler.landmark import Landmarks
from profiler.longitude import wrapped
from profiler.profile import Profile
from profiler.read.datum import same_datum
from profiler.units import FloatArray
from profiler.write.cells import fixed
from profiler.write.layers import class_sentence
from profiler.write.markup import tag, xml_text
from profiler.write.placemarks import (
    Placemark,
    hidden_words,
    landmark_placemarks,
    place_placemarks,
    post_placemarks,
    total_words,
)
from profiler.write.shapes import along, cut_at_meridian, position
from profiler.write.statement import description, facts, left_out, title

_INK = "#1E2329"
_ABSOLUTE = "<altitudeMode>absolute</altitudeMode>"


def write_kml(profile: Profile, landmarks: Landmarks, path: Path) -> tuple[str, ...]:
    """Write the line, grade runs, structures, curves, limits, landmarks, named places and whole posts.

    Heights are the rail's elevations as they are, in absolute mode, which KML takes for heights above EGM96
    (section 6.2 and annex B). What would hide the rest is there but not visible at first.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    text = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>',
        tag("name", title(profile)) + "<open>1</open>",
        tag("description", description(profile, total_words(profile, landmarks), class_sentence(landmarks))),
        *_styles(),
        _facts(profile),
        *_folder("Grade runs", _grade_runs(profile, landmarks)),
        *_folder("Named places", map(_point, place_placemarks(profile))),
        *_folder("Landmarks", map(_point, landmark_placemarks(profile, landmarks))),
        *_folder("Structures", _structures(profile)),
        *_folder("Curves", _curves(profile), visible=False),
        *_folder("Speed limits", _limits(profile), visible=False),
        *_folder("Posts", map(_point, post_placemarks(profile)), visible=False),
        *_folder("Line", [_line(profile, title(profile), "", "line", profile.chainage)], visible=False),
        "</Document></kml>",
        "",
    ]
    Path(path).write_text("\n".join(filter(None, text)), encoding="utf-8", newline="\n")
    return (
        *_datum(profile),
        left_out("standard errors of stations", *hidden_words(landmarks)),
    )


def _datum(profile: Profile) -> tuple[str, ...]:
    """What to say where heights are not those that KML takes them for."""
    datum = profile.vertical_datum
    if datum != "unknown" and same_datum(datum, "EGM96"):
        return ()
    return (f"KML takes heights for those above EGM96; they are written as they are: {wording.datum_words(datum)}",)


def _facts(profile: Profile) -> str:
    said = {key: "; ".join(map(str, v)) if isinstance(v, list) else str(v) for key, v in facts(profile).items()}
    data = (f'<Data name="{key}"><value>{xml_text(value)}</value></Data>' for key, value in said.items())
    return f"<ExtendedData>{''.join(data)}</ExtendedData>"


def _styles() -> list[str]:
    """Lines in the colours of grade classes −4 to 4, and one in ink for all others."""
    colours = {_style(shade): UP[shade] if shade >= 0 else DOWN[-shade] for shade in range(-4, 5)}
    return [
        f'<Style id="{name}"><LineStyle><color>{_colour(fill)}</color><width>{width}</width></LineStyle></Style>'
        for name, fill, width in (*((name, fill, 5) for name, fill in colours.items()), ("line", _INK, 2))
    ]


def _style(shade: int) -> str:
    return f"{'up' if shade > 0 else 'down'}-{abs(shade)}" if shade else "level"


def _colour(rgb: str) -> str:
    """Opaque aabbggrr of "#RRGGBB" (section 16.1.2)."""
    return f"ff{rgb[5:7]}{rgb[3:5]}{rgb[1:3]}".lower()


def _folder(name: str, placemarks: Iterable[str], *, visible: bool = True) -> list[str]:
    found = list(placemarks)
    if not visible:
        found = [mark.replace("</name>", "</name><visibility>0</visibility>", 1) for mark in found]
    return [f"<Folder>{tag('name', name)}", *found, "</Folder>"] if found else []


def _point(mark: Placemark) -> str:
    where = _coordinates(np.array([[float(wrapped(mark.longitude)), mark.latitude, mark.elevation]]))
    return (
        f"<Placemark>{tag('name', mark.name) or '<name/>'}{tag('description', mark.words)}"
        f"<Point>{_ABSOLUTE}<coordinates>{where}</coordinates></Point></Placemark>"
    )


def _line(profile: Profile, name: str, words: str, style: str, chainage: FloatArray) -> str:
    """A line along the rail through chainages [m]."""
    elevation = np.interp(chainage, profile.chainage, profile.elevation)
    parts = cut_at_meridian(np.column_stack([*position(profile.route, chainage), elevation]))
    lines = "".join(
        f"<LineString>{_ABSOLUTE}<coordinates>{_coordinates(part)}</coordinates></LineString>" for part in parts
    )
    shape = f"<MultiGeometry>{lines}</MultiGeometry>" if len(parts) > 1 else lines
    return (
        f"<Placemark>{tag('name', name) or '<name/>'}{tag('description', words)}"
        f"<styleUrl>#{style}</styleUrl>{shape}</Placemark>"
    )


def _coordinates(points: FloatArray) -> str:
    columns = (fixed(points[:, i], decimals) for i, decimals in enumerate((7, 7, 2)))
    return " ".join(map(",".join, zip(*columns, strict=True)))


def _grade_runs(profile: Profile, landmarks: Landmarks) -> list[str]:
    runs, route, units = landmarks.grade_runs, profile.route, profile.units
    classes = signed_class(np.array([run.grade for run in runs]), class_limits(landmarks.steepest_ruling)).tolist()
    return [
        _line(
            profile,
            wording.slope_words(run.grade, units, run.grade_se),
            f"{wording.stretch_words(route.posts, run.start, run.end)}, {wording.towards(route, 'with')}; "
            f"{wording.grade_sure_words(run.grade_se, units)}",
            _style(shade),
            along(route, run.start, run.end),
        )
        for run, shade in zip(runs, classes, strict=True)
    ]


def _structures(profile: Profile) -> list[str]:
    found = profile.route.structures
    return _stretches(profile, [(x.name or x.kind, x.kind, x.start, x.end) for x in found])


def _curves(profile: Profile) -> list[str]:
    found = [
        (x.number, f"{wording.curve_text(x.curvature, profile.units)} to the {x.hand}", x.start, x.end)
        for x in profile.route.curves
    ]
    return _stretches(profile, found)


def _limits(profile: Profile) -> list[str]:
    route, units, unit = profile.route, profile.units, wording.speed_unit(profile.units)
    found = [
        (f"{wording.speed_figure(x.speed, units)} {unit}", ", ".join(filter(None, (kind, x.train_class, x.reason))), x)
        for kind, limits in (("", route.limits), ("slow order", route.slow_orders))
        for x in limits
    ]
    return _stretches(profile, [(name, words, x.start, x.end) for name, words, x in found])


def _stretches(profile: Profile, found: Sequence[tuple[str, str, float, float]]) -> list[str]:
    """Lines in ink: name, words, start, end [m]."""
    route = profile.route
    return [
        _line(
            profile,
            name,
            "; ".join(filter(None, (words, wording.stretch_words(route.posts, start, end)))),
            "line",
            along(route, start, end),
        )
        for name, words, start, end in found
    ]
