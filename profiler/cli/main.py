"""The command `gradewright`: finds its commands, turns errors into exit codes."""

from __future__ import annotations

import difflib
import importlib
import sys
from importlib.metadata import EntryPoint, entry_points

import click

from profiler.errors import ProfilerError

OWN = {
    "profile": "profile",
    "brief": "brief",
    "beside": "beside",
    "compare": "compare",
    "export": "export",
    "check": "check",
    "demo": "demo",
}
"""Command name to its module here."""

SHORT = {
    "profile": "Profile a line: grades, curves, landmarks, map and chart.",
    "brief": "Say what a train meets on a line: starts, couplers, ratings, marks.",
    "beside": "Set alternatives, or the tracks of a line, side by side.",
    "compare": "Hold a written profile against what the railway publishes.",
    "export": "Carry a written profile on into GIS, design and map formats.",
    "check": "Say what would be read from a file, and what assumed.",
    "demo": "Profile the invented sample territory.",
    "fetch": "Fetch the elevation that a line needs from an open catalogue.",
    "network": "Profile every line of a network, and put them into one file.",
}


class Commands(click.Group):
    """Commands are imported when they are called; those of other packages come by entry point."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 (click's signature)
        return [*OWN, *sorted(point.name for point in _added())]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name in OWN:
            return _command(importlib.import_module(f"profiler.cli.{OWN[cmd_name]}"), cmd_name)
        for point in _added():
            if point.name == cmd_name:
                command = point.load()
                return command if isinstance(command, click.Command) else None
        return None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """As click does it, and with the nearest known command where a word is none."""
        if self.get_command(ctx, args[0]) is None and not args[0].startswith("-"):
            known = self.list_commands(ctx)
            near = difflib.get_close_matches(args[0], known, n=1, cutoff=0.5)
            hint = f"did you mean {near[0]}?" if near else f"the commands are {', '.join(known)}."
            raise click.UsageError(f"There is no command {args[0]!r}; {hint}", ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The list without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, SHORT.get(name, "")) for name in self.list_commands(ctx)])

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except ProfilerError as error:  # ours: one line, exit 1. Bugs keep their traceback.
            click.echo(f"gradewright: {error}", err=True)
            raise SystemExit(1) from None
        except KeyboardInterrupt:
            click.echo("gradewright: interrupted; an earlier output is as it was", err=True)
            raise SystemExit(130) from None


def _added() -> list[EntryPoint]:
    return list(entry_points(group="gradewright.commands"))


def _command(module: object, name: str) -> click.Command:
    command = getattr(module, name)
    assert isinstance(command, click.Command)
    return command


@click.command(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="A training and planning aid: local rules, timetable, special instructions and qualified people come first.",
)
@click.version_option(package_name="gradewright", prog_name="gradewright")
def main() -> None:
    """Railway grade and curvature profiles from a track centreline and open elevation data.

    Example: gradewright profile line.geojson --dem "dem/*.tif"
    """


if __name__ == "__main__":
    sys.exit(main())
