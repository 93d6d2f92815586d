"""Output folders, each in one step: of a profile, of lines side by side, of a comparison, of briefings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import TypeVar

from profiler.briefing.plan import Briefing
from profiler.build import input_files, relief_around
from profiler.comparison.beside import Beside
from profiler.comparison.compare import Comparison
from profiler.files import staged_file, staged_folder
from profiler.grade_classes import Limits
from profiler.ground import Relief
from profiler.landmark import Landmarks
from profiler.profile import Profile
from profiler.progress import Progress, quiet
from profiler.rail import SEED
from profiler.territory import Territory
from profiler.train_words import assumed_words
from profiler.units import PERCENT
from profiler.write.beside import write_beside_tables
from profiler.write.briefing import write_briefing_tables
from profiler.write.comparison import write_comparison_tables
from profiler.write.geopackage import write_geopackage
from profiler.write.network import write_network_file
from profiler.write.outputs import BESIDE_FILES, BRIEFING_FILES, BRIEFINGS_FILES, COMPARISON_FILES, PROFILE_FILES
from profiler.write.provenance import InputFile, write_provenance
from profiler.write.tables import write_tables

AnyComparison = TypeVar("AnyComparison", Beside, Comparison)


def write_profile(
    profile: Profile,
    landmarks: Landmarks,
    folder: Path | str,
    *,
    territory: Territory | None = None,
    pictures: bool = True,
    command: Sequence[str] = (),
    progress: Progress = quiet,
) -> Path:
    """Write a profile's output folder; until all of it stands, an earlier output stays whole.

    Parameters
    ----------
    profile, landmarks
        What to write.
    folder : path
        Made if missing. Files of an earlier profile in it are replaced or removed, others stay.
    territory : Territory, optional
        Where the profile came from: its files go into provenance.json with their hashes, its
        rasters into the shading under the map.
    pictures : bool
        Map and strip chart too.
    command : sequence of str
        What was asked for, for provenance.json.
    progress : callable
        Told (what is being done, share of it done).

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    folder = Path(folder)
    with staged_folder(folder, replaces=PROFILE_FILES) as stage, ThreadPoolExecutor(1) as aside:
        # large inputs take long to hash, and nothing waits for it
        record = aside.submit(_provenance, stage / "provenance.json", profile, territory, command)
        progress("writing tables", 0.0)
        write_tables(profile, landmarks, stage)
        progress("writing tables", 0.3)
        write_geopackage(profile, landmarks, stage / "profile.gpkg")
        if pictures:
            _draw(profile, landmarks, stage, territory, progress)
        progress("writing the record", 0.0)
        record.result()
    return folder


def write_profile_file(profile: Profile, landmarks: Landmarks, path: Path | str) -> Path:
    """Write a profile into one GeoPackage that `read_profile` reads back, and nothing else.

    Parameters
    ----------
    profile, landmarks
        What to write.
    path : path
        The file. Until all of the new one stands, an earlier one stays whole.

    Raises
    ------
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    with staged_file(path) as stage:
        write_geopackage(profile, landmarks, stage)
    return path


def write_network(
    lines: Iterable[tuple[str, Path]],
    path: Path | str,
    *,
    failures: Iterable[tuple[str, str, str]] = (),
    name: str = "",
    invented: bool = False,
    stations: bool = False,
) -> Path:
    """Put many written profiles into one file, line by line: one of them is in memory at a time.

    Parameters
    ----------
    lines : iterable of (str, path)
        Key of each line, and its profile as `write_profile_file` or `write_profile` wrote it.
    path : path
        A GeoPackage (``.gpkg``: layers lines, grade_runs, landmarks, pvis, failures) or a GeoParquet (``.parquet``:
        the same in one table, a group of rows a line). Until all of it stands, an earlier one stays whole.
    failures : iterable of (str, str, str)
        Key, territory, and why it failed.
    name, invented
        Of the whole network.
    stations : bool
        A point a station too.

    Raises
    ------
    InputError
        If a profile is damaged, or pyarrow is not there for a GeoParquet.
    OutputError
        If the file cannot be written.
    """
    path = Path(path)
    with staged_file(path) as stage:
        write_network_file(lines, failures, stage, name=name, invented=invented, stations=stations)
    return path


def write_network_view(
    lines: Iterable[tuple[str, Path]],
    path: Path | str,
    *,
    failures: Iterable[tuple[str, str, str]] = (),
    name: str = "",
    invented: bool = False,
    units: str | None = None,
    limits: Limits | None = None,
    links: Mapping[str, Sequence[tuple[str, str]]] | None = None,
) -> Path:
    """Write the view of many written profiles, one HTML file of map and table; one of them is in memory at a time.

    Parameters
    ----------
    lines, failures
        As `write_network` takes them.
    path : path
        The file. Until all of the new one stands, an earlier one stays whole.
    name, invented, units, limits
        As `draw_network` takes them.
    links : mapping of str to (str, str), optional
        By key of a line, words and address, relative to the view, of what else there is of it.

    Raises
    ------
    InputError
        If a profile is damaged.
    OutputError
        If the file cannot be written.
    """
    from profiler.present.network import draw_network
    from profiler.write.network_shown import shown_line

    known = links or {}
    shown = (shown_line(key, file, known.get(key, ())) for key, file in lines)
    draw_network(shown, path, failures=failures, name=name, invented=invented, units=units, limits=limits)
    return Path(path)


def write_briefings(
    briefings: Mapping[str, Sequence[Briefing]],
    folder: Path | str,
    *,
    territory: Territory | None = None,
    train_files: Sequence[Path] = (),
    pictures: bool = True,
    command: Sequence[str] = (),
    progress: Progress = quiet,
) -> Path:
    """Write briefings, each into a folder of its own, ``<train>/<with or against>``, and one page of them; or nothing.

    Parameters
    ----------
    briefings : mapping of str to sequence of Briefing
        By the name of each train's folder, at least one; all of one profile.
    folder : path
        Made if missing. Earlier files of the same names are replaced, others stay.
    territory, train_files, command
        Where all of it came from, for provenance.json.
    pictures : bool
        Page, map and charts too.
    progress : callable
        Told (what is being done, share of it done).

    Raises
    ------
    OutputError
        If a folder cannot be written.
    """
    folder = Path(folder)
    every = [(name, briefing) for name, some in briefings.items() for briefing in some]
    profile = every[0][1].profile
    trains = {name: some[0].train for name, some in briefings.items()}
    limits = _limits(territory)
    relief = relief_around(profile, territory) if pictures and territory is not None and profile.route.on_map else None
    with ExitStack() as stack:
        stage = stack.enter_context(staged_folder(folder, replaces=BRIEFINGS_FILES))
        inputs = [InputFile(file, "train") for file in train_files]
        assumed = {
            "curve_resistance_of_trains": {name: train.curve_resistance for name, train in trains.items()},
            "assumed_of_trains": {name: assumed_words(train) for name, train in trains.items()},
        }
        aside = stack.enter_context(ThreadPoolExecutor(1))
        record = aside.submit(_provenance, stage / "provenance.json", profile, territory, command, inputs, assumed)
        for i, (name, briefing) in enumerate(every):
            progress("writing briefings", i / len(every))
            place = folder / name / briefing.direction
            inside = stack.enter_context(staged_folder(place, replaces=BRIEFING_FILES))
            write_briefing_tables(briefing, inside)
            if pictures:
                progress("drawing briefings", i / len(every))
                _draw_briefing(briefing, inside, limits, relief)
        if pictures:
            from profiler.present.page import write_page

            progress("drawing the page", 0.0)
            write_page(briefings, stage / "page.html", relief=relief, limits=limits)
        record.result()
    return folder


def write_beside(beside: Beside, folder: Path | str, *, progress: Progress = quiet) -> Path:
    """Write the tables and the picture of lines side by side; until all stands, an earlier output stays whole.

    Parameters
    ----------
    beside : Beside
    folder : path
        Made if missing. Earlier files of the same names are replaced, others stay.
    progress : callable
        Told (what is being done, share of it done).

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    from profiler.present.beside import draw_beside

    return _write_compared("beside", BESIDE_FILES, beside, write_beside_tables, draw_beside, folder, progress)


def write_comparison(comparison: Comparison, folder: Path | str, *, progress: Progress = quiet) -> Path:
    """Write the tables and the picture of a profile held against a reference; all of them, or none.

    Parameters
    ----------
    comparison : Comparison
    folder : path
        Made if missing. Earlier files of the same names are replaced, others stay.
    progress : callable
        Told (what is being done, share of it done).

    Raises
    ------
    OutputError
        If the folder cannot be written.
    """
    from profiler.present.comparison import draw_comparison

    return _write_compared(
        "comparison", COMPARISON_FILES, comparison, write_comparison_tables, draw_comparison, folder, progress
    )


def _write_compared(
    name: str,
    files: tuple[str, ...],
    compared: AnyComparison,
    write_sheets: Callable[[AnyComparison, Path], None],
    draw: Callable[..., object],
    folder: Path | str,
    progress: Progress,
) -> Path:
    """Tables and one picture, called ``name``, of what was compared."""
    folder = Path(folder)
    with staged_folder(folder, replaces=files) as stage:
        progress("writing tables", 0.0)
        write_sheets(compared, stage)
        progress("drawing", 0.0)
        draw(compared, svg=stage / f"{name}.svg", png=stage / f"{name}.png")
    return folder


def _draw(
    profile: Profile, landmarks: Landmarks, folder: Path, territory: Territory | None, progress: Progress
) -> None:
    """The chart and the map; their libraries take half a second to load, so only here."""
    from profiler.present.chart import draw_chart

    limits = _limits(territory)
    progress("drawing the chart", 0.0)
    draw_chart(profile, landmarks, svg=folder / "chart.svg", png=folder / "chart.png", limits=limits)
    if not profile.route.on_map:
        return
    from profiler.present.map import draw_map

    progress("drawing the map", 0.0)
    relief = relief_around(profile, territory) if territory is not None else None
    draw_map(profile, landmarks, relief, folder / "map.html", limits=limits, online_tiles=not profile.invented)


def _draw_briefing(briefing: Briefing, folder: Path, limits: Limits | None, relief: Relief | None) -> None:
    """Charts, the printed briefing, and the map where the line lies on one."""
    from profiler.present.book import book_of
    from profiler.present.book_html import write_book_html
    from profiler.present.book_pdf import write_book_pdf
    from profiler.present.felt_chart import draw_felt, largest_places
    from profiler.present.start_chart import draw_starts
    from profiler.present.train_chart import draw_train_chart

    draw_train_chart(briefing, svg=folder / "chart.svg", png=folder / "chart.png", limits=limits)
    if briefing.sequences:
        draw_starts(briefing, svg=folder / "starting.svg", png=folder / "starting.png")
    if largest_places(briefing):
        draw_felt(briefing, svg=folder / "sudden.svg", png=folder / "sudden.png")
    book = book_of(briefing, relief, limits)
    write_book_pdf(book, folder / "briefing.pdf")
    write_book_html(book, folder / "briefing.html")
    if briefing.profile.route.on_map:
        from profiler.present.train_map import draw_train_map

        draw_train_map(briefing, relief, folder / "map.html", limits=limits)


def _limits(territory: Territory | None) -> Limits | None:
    """Limits of the grade classes [m/m] where the territory sets its own."""
    stated = territory.settings.grade_classes_pct if territory is not None else None
    if stated is None:
        return None
    a, b, c, d = (limit * PERCENT for limit in stated)
    return a, b, c, d


def _provenance(
    path: Path,
    profile: Profile,
    territory: Territory | None,
    command: Sequence[str],
    more: Sequence[InputFile] = (),
    settings: Mapping[str, object] | None = None,
) -> None:
    files = input_files(territory, profile.route) if territory is not None else ()
    write_provenance(
        path,
        inputs=[*(InputFile(file, role) for file, role in files), *more],
        profile=profile,
        settings={**(territory.settings.model_dump() if territory is not None else {}), **(settings or {})},
        command=command,
        base=territory.folder if territory is not None else None,
        seed=SEED,
    )
