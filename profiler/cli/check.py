"""gradewright check"""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from profiler.cli import options

if TYPE_CHECKING:
    from profiler.drawn_line import DrawnLine
    from profiler.route import Route
    from profiler.territory import Territory

SHOWN = 3
"""More post equations than these are only counted."""


@click.command(epilog="Example: gradewright check route.toml")
@options.source
@options.dem
def check(source: str, dem: tuple[str, ...]) -> None:
    """Read SOURCE, a territory, train or vector file, and say what would be read and what assumed.

    Nothing is written. Exit code 1 if the file cannot be used as it is.
    """
    from profiler.cli.check_train import is_train_file, train_report
    from profiler.drawn_line import draw_line, route_of

    if is_train_file(source):
        click.echo(train_report(source, dem))
        return
    territory = options.territory_from(source, dem)
    options.refuse_dem(territory, dem)
    drawn = draw_line(territory)
    route = route_of(territory, drawn)
    lines, gap = _line(territory, drawn, route), False
    if territory.profile is not None:
        lines += _charted(territory, drawn)
    elif territory.elevation is not None:
        ground, gap = _ground(territory, drawn, route)
        lines += ground
    else:
        lines.append("elevation: none is named yet, use [elevation] or --dem")
    verdict = "the line can be used, the elevation data do not reach all of it" if gap else "can be used"
    click.echo("\n".join([f"{source}: {verdict}", *lines]))
    if gap:
        raise SystemExit(1)


def _line(territory: Territory, drawn: DrawnLine, route: Route) -> list[str]:
    from profiler.curve_words import curve_sentences

    units = territory.route.units
    lines = [
        *(_on_map(drawn, route) if route.on_map else _on_no_map(route)),
        f"posts: {_posts(route)}",
        *_known_posts(route, units),
        f"structures: {_structures(route, 'tunnel')}, {_structures(route, 'bridge')}",
        *curve_sentences(route, units),
        f"named places: {len(route.stations)}; stops: {len(route.stops)}; "
        f"limits: {len(route.limits)}; slow orders: {len(route.slow_orders)}",
        f"people read: {'US' if units == 'us' else 'metric'} units",
    ]
    return lines + [f"assumed: {said}" for said in route.assumptions]


def _on_map(drawn: DrawnLine, route: Route) -> list[str]:
    from profiler.longitude import wrapped

    first, last = ((float(x[0]), float(x[-1])) for x in (wrapped(route.longitude), route.latitude))
    return [
        f"line: {_count(len(drawn.centreline.pieces), 'piece')}, {drawn.centreline.crs}, "
        f"joined to {route.length / 1000:.3f} km",
        f"ends: {_end(route, 0)} at {first[0]:.5f}, {last[0]:.5f}; {_end(route, 1)} at {first[1]:.5f}, {last[1]:.5f}",
        f"vertices: noise about {drawn.line.vertex_noise:.1f} m, "
        f"line sure to {drawn.line.lateral_se.mean():.1f} m sideways",
    ]


def _on_no_map(route: Route) -> list[str]:
    return [
        f"line: {route.length / 1000:.3f} km from the first row of the table to the last, on no map",
        f"ends: {_end(route, 0)}; {_end(route, 1)}",
    ]


def _charted(territory: Territory, drawn: DrawnLine) -> list[str]:
    """What a known profile is, once all of it has been looked at."""
    from profiler.charted_profile import charted_profile
    from profiler.wording import datum_words, elevation_text

    built = charted_profile(territory, drawn)
    heights = (built.elevation.min(), built.elevation.max())
    low, high = (elevation_text(float(height), territory.route.units) for height in heights)
    curved = sum(pvi.curve_length > 0 for pvi in built.pvis)
    return [
        f"elevation: known, {_count(len(built.pvis), 'PVI')}, {curved} with a vertical curve, {low} to {high}, "
        f"{datum_words(built.vertical_datum)}",
        *(f"assumed: {said}" for said in built.assumptions),
    ]


def _end(route: Route, which: int) -> str:
    return route.ends[which] or ("start", "end")[which]


def _posts(route: Route) -> str:
    from profiler.wording import post_text

    if not route.posts.stated:
        return "none, chainage serves"
    ends = [post_text(route.posts, float(route.chainage[i]), 2) for i in (0, -1)]
    return f"{ends[0]} to {ends[1]}, {'rising' if route.posts.rising else 'falling'}"


def _known_posts(route: Route, units: str) -> list[str]:
    """How well the posts fit each other, and where they jump."""
    from profiler.wording import equation_text, post_named, short_length_text

    posts, lines = route.posts, []
    jumps = {place for place, _, _ in posts.equations}
    known = [k for k in route.known_posts if k.chainage not in jumps]
    told = [k for k in known if k.residual is not None]
    if known:
        words = f"known posts: {len(known)}"
        if told:
            worst = max(told, key=lambda k: abs(k.residual or 0.0))
            size = short_length_text(abs(worst.residual or 0.0), units)
            words += f", largest residual {size} at {post_named(posts, worst.post)}"
        lines.append(words)
    if jumps:
        shown = [equation_text(posts, back, ahead) for _, back, ahead in posts.equations[:SHOWN]]
        more = len(posts.equations) - len(shown)
        lines.append(f"post equations: {len(posts.equations)}, {', '.join(shown)}{f' and {more} more' if more else ''}")
    return lines


def _count(number: int, name: str) -> str:
    return f"{number:,} {name}{'' if number == 1 else 's'}"


def _structures(route: Route, kind: str) -> str:
    found = [s for s in route.structures if s.kind == kind]
    over = f" over {sum(s.end - s.start for s in found) / 1000:.2f} km" if found else ""
    return f"{_count(len(found), kind)}{over}"


def _ground(territory: Territory, drawn: DrawnLine, route: Route) -> tuple[list[str], bool]:
    """What the rasters are, and whether they leave a gap that may not be bridged."""
    from profiler.build import coverage, open_ground, sample_ground
    from profiler.heights import datum_of, in_one_datum, known_elevations, side_by_side
    from profiler.read.rasters import assumptions_of
    from profiler.wording import datum_words

    sources = open_ground(territory)
    lines = []
    for source in sources:
        systems = sorted({tile.crs for tile in source.tiles})
        lines.append(
            f"elevation: {source.name}, {_count(len(source.tiles), 'file')}, "
            f"{', '.join(systems)}, cells of {max(t.cell_m for t in source.tiles):.0f} m, "
            f"{datum_words(source.vertical_datum)}"
        )
    lines += [f"assumed: {said}" for said in assumptions_of(sources)]
    samples, converted = in_one_datum(
        sample_ground(territory, sources, drawn), drawn.stations.longitude, drawn.stations.latitude
    )
    known, taken = known_elevations(territory, route, datum_of(samples))
    if known:
        lines.append(f"known elevations: {', '.join(item.words for item in known)}")
    lines += [f"assumed: {said}" for said in (*side_by_side(samples), *converted, *taken)]
    words, gap = coverage(territory, route, samples)
    return [*lines, f"coverage: {words}"], gap
