"""Codes and figures into words: the one place where units and terms become what people read.

Data files stay metric; everything here follows the territory's ``units`` ("us" or "metric").
"""

from __future__ import annotations

import math
from itertools import pairwise

from profiler.curve_resistance import CurveResistance
from profiler.route import Posts, Route
from profiler.track_chart import AS_ON_CHART
from profiler.units import (
    CURVE_COMPENSATION,
    FOOT,
    KILOMETRE,
    KMH,
    MILE,
    MPH,
    PERCENT,
    PERMILLE,
    curvature_of_degree,
    degree_of_curve,
)

CAUTION = (
    "A training and planning aid. Local rules, the timetable, special instructions, signals and "
    "qualified people come first. Figures are estimates from open data and can be wrong. "
    "No mark is an instruction to operate; not for live train control."
)
CAUTION_SHORT = (
    "Training and planning aid only. Local rules, timetable, special instructions and qualified people come first."
)
INVENTED = "Invented line: nothing here is a real place, company or person."

MINUS = "\N{MINUS SIGN}"
THIN_SPACE = "\N{NARROW NO-BREAK SPACE}"

SURE_FROM = 0.8
"""Crests, sags and grade breaks less likely than this carry a question mark."""
UNSURE_M = {"us": (30 * FOOT, 75 * FOOT, 150 * FOOT), "metric": (10.0, 25.0, 50.0)}
"""Steps of the 95 % half-width of an elevation from which a map says that it is less sure. [m]"""

_KIND_WORDS = {
    "crest": "crest",
    "sag": "sag",
    "grade_break": "break",
    "ruling_grade": "ruling grade",
    "ruling_grade_compensated": "ruling grade, compensated for curves",
    "sustained_grade": "sustained grade",
    "heavy_grade_4000_or_less": "heavy grade, trains of 4,000 trailing short tons or less (49 CFR 232.407)",
    "heavy_grade_over_4000": "heavy grade, trains over 4,000 trailing short tons (49 CFR 232.407)",
    "sharpest_curve": "sharpest curve",
    "total_rise": "total rise",
    "total_fall": "total fall",
    "suspected_tunnel": "tunnel?",
    "suspected_bridge": "bridge?",
}


def capitalised(words: str) -> str:
    """The words as a sentence begins."""
    return words[:1].upper() + words[1:]


def kind_words(kind: str) -> str:
    """The words for a kind of landmark."""
    return _KIND_WORDS[kind]


def doubted_words(kind: str, probability: float) -> str:
    """A landmark's name before its place, with a question mark below `SURE_FROM`: "Crest", "Sag?"."""
    return f"{kind_words(kind).capitalize()}{'?' if probability < SURE_FROM else ''}"


def number(value: float, decimals: int = 0, *, units: str = "us", sign: bool = False) -> str:
    """A figure with true minus and grouped thousands: commas in US units, thin spaces in metric."""
    text = f"{value:{'+' if sign else ''},.{decimals}f}"
    if float(text.replace(",", "")) == 0:
        text = text.lstrip("+-")
    if units == "metric":
        text = text.replace(",", THIN_SPACE)
    return text.replace("-", MINUS)


def grade_unit(units: str) -> str:
    """ "%" or "‰"."""
    return "%" if units == "us" else "‰"


def grade_figure(grade: float, units: str, se: float = 0.0, *, sign: bool = False) -> str:
    """A grade [m/m] without its unit, with as many digits as its standard error [m/m] allows.

    Two decimals of a percent while the standard error is at most 0.05 %, one up to 0.25 %, then
    one with "≈" before it; per mille have one decimal fewer.
    """
    decimals = 2 if se <= 0.05 * PERCENT else 1
    about = "" if se <= 0.25 * PERCENT else "≈"
    if units == "us":
        return about + number(grade / PERCENT, decimals, units=units, sign=sign)
    return about + number(grade / PERMILLE, decimals - 1, units=units, sign=sign)


def grade_text(grade: float, units: str, se: float = 0.0, *, sign: bool = False) -> str:
    """A grade [m/m] with its unit: "1.35 %", "14 ‰"."""
    return f"{grade_figure(grade, units, se, sign=sign)} {grade_unit(units)}"


def elevation_unit(units: str) -> str:
    """ "ft" or "m"."""
    return "ft" if units == "us" else "m"


def elevation_text(elevation: float, units: str, decimals: int = 0) -> str:
    """A height [m] with its unit."""
    figure = elevation / FOOT if units == "us" else elevation
    return f"{number(figure, decimals, units=units)} {elevation_unit(units)}"


def distance_unit(units: str) -> str:
    """ "mi" or "km"."""
    return "mi" if units == "us" else "km"


def distance_text(distance: float, units: str, decimals: int = 1) -> str:
    """A distance along the line [m] in miles or kilometres."""
    figure = distance / (MILE if units == "us" else KILOMETRE)
    return f"{number(figure, decimals, units=units)} {distance_unit(units)}"


def short_length_text(length: float, units: str) -> str:
    """A length of train or structure [m] in feet or metres."""
    return elevation_text(length, units)


def curve_text(curvature: float, units: str) -> str:
    """A curvature [1/m] as degrees in US units ("6°"), as a radius in metric ("290 m")."""
    if units == "us":
        degree = abs(float(degree_of_curve(curvature)))
        return f"{number(degree, 0 if degree >= 1.5 else 1)}°"
    radius = 1 / abs(curvature) if curvature else math.inf
    return f"{number(round(radius, -1) if radius > 100 else radius, units=units)} m"


def speed_unit(units: str) -> str:
    """ "mph" or "km/h"."""
    return "mph" if units == "us" else "km/h"


def speed_figure(speed: float, units: str) -> str:
    """A speed [m/s] without its unit."""
    return number(speed / (MPH if units == "us" else KMH), units=units)


def post_value(posts: Posts, value: float, decimals: int = 1) -> str:
    """A post as it stands beside the track, no unit, no grouping: "54.3", or "54+1600" where it is written so.

    Behind the plus metres or feet are rounded to what the decimals are worth, a mile's to 500, 50 or 1 ft.
    """
    if not posts.plus or value < 0:
        return f"{value:.{decimals}f}".replace("-", MINUS)
    length, digits, steps = _BEYOND_PLUS[posts.unit]
    whole = math.floor(value + 1e-9)
    rest = (value - whole) * length
    step = steps[min(decimals, len(steps) - 1)]
    rounded = step * round(rest / step)
    if rounded >= length or length - rest < abs(rest - rounded):
        whole, rounded = whole + 1, 0
    return f"{whole}+{rounded:0{digits}d}" if decimals else f"{whole}"


_BEYOND_PLUS = {"km": (1000, 3, (1000, 100, 10, 1)), "mi": (5280, 4, (5280, 500, 50, 1))}
"""Length of a unit in what stands behind the plus, its digits, and what 0, 1, 2 and 3 decimals are rounded to."""


def post_tick(posts: Posts, value: float, step: float) -> str:
    """A post of a ruler whose labels are ``step`` [post unit] apart: "54", "54.5", "54+2640"."""
    decimals = max(0, -math.floor(math.log10(step)))
    if posts.plus and decimals:
        return post_value(posts, value, 0 if math.isclose(value, round(value), abs_tol=1e-6) else 3)
    return post_value(posts, value, decimals)


def _prefix(posts: Posts) -> str:
    return ("" if posts.unit == "mi" else "km") if posts.prefix is None else posts.prefix


def post_text(posts: Posts, chainage: float, decimals: int = 1) -> str:
    """The post at a chainage [m] as people say it: "54.3" in miles, "km 150.1" in kilometres."""
    return f"{_prefix(posts)} {post_value(posts, float(posts.at(chainage)), decimals)}".lstrip()


def post_named(posts: Posts, value: float, decimals: int | None = None) -> str:
    """A post that always says its unit, "mi 71.2", "km 133+100", "MP 54.30": as many decimals as it has, 3 at most."""
    shown = _decimals(posts, value) if decimals is None else decimals
    return f"{_prefix(posts) or posts.unit} {post_value(posts, value, shown)}"


def _decimals(posts: Posts, *values: float) -> int:
    """The fewest decimals that show stated posts, 3 at most."""
    if posts.plus:
        return 3
    return next((n for n in range(3) if all(abs(v - round(v, n)) < 5e-4 for v in values)), 3)


def equation_text(posts: Posts, back: float, ahead: float, *, bare: bool = False) -> str:
    """A post equation, the post back and the post ahead: "mi 31.42 = mi 31.50", bare "31.42 = 31.50"."""
    decimals = max(2, _decimals(posts, back, ahead))
    write = post_value if bare else post_named
    return f"{write(posts, back, decimals)} = {write(posts, ahead, decimals)}"


def equation_words(posts: Posts, back: float, ahead: float, units: str) -> str:
    """What a post equation does: "739 ft of posts are left out here", "… stand twice here"."""
    twice = (ahead < back) == posts.rising
    length = short_length_text(abs(ahead - back) * posts.unit_m, units)
    return f"{length} of posts {'stand twice' if twice else 'are left out'} here"


def end_name(route: Route, which: int) -> str:
    """The start (0) or the end (1) of a line: its name, or its post where it has none ("km 164.7", "post 38.0")."""
    at = float(route.chainage[-which])
    return route.ends[which] or stretch_words(route.posts, at, at)


def towards(route: Route, direction: str) -> str:
    """ "to Thistle Quay": a direction as people read it."""
    return f"to {end_name(route, 1 if direction == 'with' else 0)}"


def interval_text(value: float, unit: str, units: str, low: float | None = None, high: float | None = None) -> str:
    """A landmark's value ("%", "m", "degree") with its 95 % interval: "1.35 % (1.32–1.38)"."""
    if unit == "%":
        se = 0.0 if low is None or high is None else (high - low) / 2 / 1.96 * PERCENT
        text = grade_text(value * PERCENT, units, se)
        if low is not None and high is not None:
            a, b = (grade_figure(x * PERCENT, units, min(se, 0.25 * PERCENT)) for x in (low, high))
            text += f" ({a}–{b})"
        return text
    if unit == "degree":
        return f"{number(abs(value), 1)}°"
    text = elevation_text(value, units)
    if low is not None and high is not None:
        text += f" ({elevation_text(low, units).split(' ')[0]}–{elevation_text(high, units).split(' ')[0]})"
    return text


def travel_words(route: Route) -> str:
    """ "from Farrow to Thistle Quay": the direction in which up and down are meant."""
    return f"from {end_name(route, 0)} to {end_name(route, 1)}"


def stretch_words(posts: Posts, start: float, end: float, decimals: int = 1) -> str:
    """A place or a stretch by posts, chainages [m]: "post 54.3", "posts 47.3 to 48.6", "km 4.0 to 6.1"."""
    first, last = (post_value(posts, float(posts.at(x)), decimals) for x in (start, end))
    if first == last:
        return f"{_prefix(posts) or 'post'} {first}"
    return f"{_prefix(posts) or 'posts'} {first} to {last}"


def slope_words(grade: float, units: str, se: float = 0.0) -> str:
    """ "up 1.35 %", "down 14 ‰", "level": a grade as travelled [m/m]."""
    figure = grade_figure(abs(grade), units, se)
    if not figure.strip("≈0."):
        return "level"
    return f"{'up' if grade > 0 else 'down'} {figure} {grade_unit(units)}"


def break_words(before: float, after: float, units: str, before_se: float = 0.0, after_se: float = 0.0) -> str:
    """The grades on both sides of a break as travelled [m/m], digits by their standard errors [m/m]:
    "↘1.50 → ↘2.45".
    """
    sides = ((before, before_se), (after, after_se))
    figures = [(g > 0, grade_figure(abs(g), units, se)) for g, se in sides]
    return " → ".join(f"{'↗' if up else '↘'}{f}" if f.strip("≈0.") else "level" for up, f in figures)


def probability_words(probability: float) -> str:
    """How surely a thing exists: "certain", "83 % likely"."""
    return "certain" if probability >= 0.995 else f"{number(100 * probability)} % likely"


def suspected_words(kind: str, probability: float, open_end: bool = False) -> str:
    """ "tunnel? 83 %", and whether it goes on where the line ends: a suspected structure."""
    return f"{kind_words(kind)} {percent_text(probability)}{', no end seen' if open_end else ''}"


def suspected_sentence(tunnels: int, bridges: int) -> str:
    """What the data given do not name and the ground suggests, counted."""
    counts = ((tunnels, "tunnel"), (bridges, "bridge"))
    counted = " and ".join(f"{n} {name}{'s' if n > 1 else ''}" for n, name in counts if n)
    return f"Suspected from the ground only, not in the data given: {counted}." if counted else ""


def place_sure_words(
    posts: Posts, chainage: float, elevation: tuple[float, float], grade: tuple[float, float], units: str
) -> str:
    """ "post 54.3: rail 1,035 ft ±6 ft, up 1.35 % ±0.06 %": elevation [m] and grade [m/m] as travelled,
    each with its standard error, at a chainage [m]."""
    (height, height_se), (slope, slope_se) = elevation, grade
    half = elevation_text(1.96 * height_se, units, 0 if units == "us" or height_se > 5 else 1)
    figure = slope_words(slope, units, slope_se)
    sure = grade_sure_words(slope_se, units).removeprefix("sure to ")
    where = stretch_words(posts, chainage, chainage)
    return f"{where}: rail {elevation_text(height, units)} ±{half}, {figure} {sure}"


def grade_sure_words(se: float, units: str) -> str:
    """ "sure to ±0.06 %": the 95 % half-width of a grade's standard error [m/m]."""
    half = 1.96 * se
    figure = number(half / PERCENT, 2) if units == "us" else number(half / PERMILLE, 1, units=units)
    return f"sure to ±{figure} {grade_unit(units)}"


def elevation_sure_words(typical_se: float, worst_se: float, units: str) -> str:
    """ "rail height sure to ±6 ft, at worst ±31 ft": 95 % half-widths of standard errors [m]."""
    typical, worst = (elevation_text(1.96 * se, units, 0 if units == "us" else 1) for se in (typical_se, worst_se))
    return f"rail height sure to ±{typical}, at worst ±{worst}"


def unsure_words(units: str) -> tuple[str, ...]:
    """Names of the steps `UNSURE_M`: "±30 ft", …"""
    return tuple(f"±{elevation_text(limit, units)}" for limit in UNSURE_M[units])


def datum_words(name: str) -> str:
    """What heights are counted from."""
    if name == AS_ON_CHART:
        return f"heights {AS_ON_CHART}"
    return "vertical datum unknown" if name == "unknown" else f"heights above {name}"


def credit_words(attribution: str, licence: str) -> str:
    """Whose the elevation data are, in one line; nothing where nobody says."""
    said = [text.rstrip(".") for text in (attribution, f"licence: {licence}" if licence else "") if text]
    return f"Elevation data: {'; '.join(said)}." if said else ""


def known_words(reason: str, standard_errors: float, rival: str = "", unit_meant: str = "") -> str:
    """Why a known elevation is not used, out of the figures of its residual; nothing if it is."""
    if reason == "tie":
        return f"contradicts the one at {rival}, and nothing else tells which of them is right"
    if reason != "misfit":
        return ""
    beside = f" and contradicts the one at {rival}" if rival else ""
    guess = f"would fit in {unit_meant}" if unit_meant else "wrong post, wrong datum or a typing error?"
    return f"disagrees by {standard_errors:.1f} standard errors{beside}: {guess}"


def class_words(limits: tuple[float, ...], units: str) -> tuple[str, ...]:
    """Names of the classes of steepness from their lower limits [m/m]: "level", "0.1–0.5", …, "2+"."""
    unit = PERCENT if units == "us" else PERMILLE
    figures = [f"{limit / unit:g}" for limit in limits]
    between = [f"{a}–{b}" for a, b in pairwise(figures)]
    return ("level", *between, f"{figures[-1]}+")


def curve_figure(curvature: float, units: str) -> str:
    """A curvature [1/m] as it stands in a row that names its unit: "6°", or a radius in metres, "290"."""
    return curve_text(curvature, units).removesuffix(" m")


def certainty_lines(usual: float, worst: float, units: str) -> tuple[str, str]:
    """Two lines for 95 % half-widths of elevation [m]: "sure to ±6," and "at worst ±31"."""
    figures = [x / FOOT if units == "us" else x for x in (usual, worst)]
    a, b = (number(x, 1 if x < 2 else 0, units=units) for x in figures)
    return f"sure to ±{a},", f"at worst ±{b}"


def ruling_variants(route: Route, direction: str, plain: str, compensated: str, train: str) -> tuple[str, ...]:
    """The name of a ruling grade, from the fullest to the shortest; the compensated figure stays longest.

    ``plain`` and ``compensated`` are figures with their intervals, ``train`` a length in words; one
    of the figures and the train may be empty.
    """
    extra = f"compensated {compensated}" if compensated else ""
    bare = plain.split(" (")[0]
    full, short = (", ".join(filter(None, (figure, extra))) for figure in (plain, bare))
    name = f"ruling {towards(route, direction)}:"
    return tuple(
        dict.fromkeys(
            (
                f"{name} {full}, train of {train}" if train else f"{name} {full}",
                f"{name} {full}",
                f"{name} {short}",
                f"ruling {short}",
                f"ruling {bare or extra.split(' (')[0]}",
            )
        )
    )


def compensation_figure(per_degree: float, units: str, law: CurveResistance = "per degree") -> str:
    """ "0.04 % per degree", "700/R ‰": the grade that curves are worth, of that of one degree [m/m]; R in metres."""
    if law == "roeckl":
        return "Röckl’s 650/(R − 55) ‰"
    if units == "us":
        return f"{per_degree / PERCENT:.3g} % per degree"
    return f"{round(per_degree / PERMILLE / float(curvature_of_degree(1)), -1):g}/R ‰"


def compensation_words(per_degree: float, units: str, law: CurveResistance = "per degree") -> str:
    """The model by which grades are compensated for curves, out of the grade that one degree is worth [m/m].

    1 % of grade is 20 lb per short ton; AREMA recommends 0.8 lb per short ton and degree.
    """
    if law == "roeckl":
        return f"{compensation_figure(per_degree, units, law)}, 500/(R − 30) ‰ below 300 m, with the radius R in metres"
    pull = f"{20 * per_degree / PERCENT:.3g} lb per short ton and degree"
    origin = "AREMA" if math.isclose(per_degree, CURVE_COMPENSATION) else "set by the territory"
    if units == "us":
        grade = f"{per_degree / PERCENT:.3g} % of grade per degree of curve"
    else:
        figure = compensation_figure(per_degree, units)
        grade = f"{per_degree / PERMILLE:.3g} ‰ of grade per degree of curve, {figure} with the radius R in metres"
    return f"{grade} ({pull}, {origin})"


def percent_text(probability: float) -> str:
    """A probability as people read it: "83 %", never quite 0 or 100."""
    return f"{min(max(round(100 * probability), 1), 99)} %"
