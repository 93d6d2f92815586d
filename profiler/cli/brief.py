"""gradewright brief"""

from __future__ import annotations

from pathlib import Path

import click

from profiler.cli import options


@click.command(
    epilog="Example: gradewright brief sample_routes/farrow.toml --train sample_routes/train-ore-five-in-front.toml"
)
@options.source
@click.option(
    "--train",
    "trains",
    multiple=True,
    required=True,
    metavar="FILE",
    help="Train file; may be given several times.",
)
@click.option("--to", metavar="END", help="Only towards this end of the line, by its name (default: with chainage).")
@click.option("--both", is_flag=True, help="Both directions.")
@click.option(
    "--sudden",
    is_flag=True,
    help="Also what couplers feel at marked places, handled gradually and suddenly; takes some seconds per train.",
)
@options.dem
@options.trim
@options.step
@options.units
@options.fast
@click.option("--tables-only", is_flag=True, help="No map, no charts, no printed briefing.")
@options.out
def brief(
    source: str,
    trains: tuple[str, ...],
    to: str | None,
    both: bool,
    sudden: bool,
    dem: tuple[str, ...],
    trim: bool,
    step: float | None,
    units: str | None,
    fast: bool,
    tables_only: bool,
    out: Path | None,
) -> None:
    """Say what trains meet on SOURCE, a territory file (.toml) or any vector file with a line.

    Each is planned in three cases: as customary, with speeds held 10 % slower, and 10 % faster, never above a posted
    limit. For each train and direction: the grade under the train, where it lies astride of crests, what it takes to
    start, coupler forces, units to use, tonnage rating, and where it had better not be stopped. Tables, a chart,
    a map and a briefing to print go into <train>/<with or against>/ of a folder named after the source, or of --out.
    """
    from profiler.briefing.by_plan import CASES
    from profiler.briefing.direction import direction_towards
    from profiler.briefing.plan import plan_handling
    from profiler.briefing.sudden import with_felt
    from profiler.build import build_profile, landmarks_of
    from profiler.cli.brief_summary import summary
    from profiler.cli.progress import progress_bar
    from profiler.errors import InputError
    from profiler.files import check_place
    from profiler.read.trains import read_train
    from profiler.results import write_briefings

    if to is not None and both:
        raise InputError("--to", "names one direction, and --both asks for two", "leave one of them out")
    territory = options.territory_from(source, dem, step, units, (), fast)
    options.refuse_dem(territory, dem)
    names = _names(trains)
    read = {name: read_train(file) for name, file in zip(names, trains, strict=True)}
    folder = out if out is not None else Path(f"{options.stem(source)}-briefing")
    check_place(folder)
    with progress_bar() as progress:
        profile = build_profile(territory, trim=trim, progress=progress)
        directions = ("with", "against") if both else (direction_towards(profile.route, to, source="--to"),)
        progress("finding landmarks", 0.0)
        landmarks = landmarks_of(profile, territory)
        briefings = {}
        for i, (name, train) in enumerate(read.items()):
            progress("planning", i / len(read))
            briefings[name] = [plan_handling(profile, landmarks, train, direction, CASES) for direction in directions]
            if sudden:
                progress("following couplers", i / len(read))
                briefings[name] = [with_felt(briefing) for briefing in briefings[name]]
        write_briefings(
            briefings,
            folder,
            territory=territory,
            train_files=[Path(file) for file in trains],
            pictures=not tables_only,
            command=options.words(click.get_current_context()),
            progress=progress,
        )
    click.echo(summary(briefings, folder))


def _names(files: tuple[str, ...]) -> list[str]:
    """Folders of trains, by the stems of their files.

    Raises
    ------
    InputError
        If two are equal, small and capital letters the same.
    """
    from profiler.errors import InputError

    names = [Path(file).stem for file in files]
    seen: dict[str, str] = {}
    for name, file in zip(names, files, strict=True):
        if name.casefold() in seen:
            first = seen[name.casefold()]
            raise InputError(file, f"would be written into the same folder as {first}", "rename one of the two files")
        seen[name.casefold()] = file
    return names
