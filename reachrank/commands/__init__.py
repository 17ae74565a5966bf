"""The command line: one file per command, each imported only when it is asked for."""

from __future__ import annotations

from importlib import import_module

import click

COMMANDS = {
    "demo": "Make a small invented county, rank it, and say what to open.",
    "check": "Say what the inputs are and what is wrong with them, before a long run.",
    "rank": "Rank streams: from lines and a DEM to a GeoPackage.",
    "map": "One page with the ranked list beside the map, to open from disk.",
    "near": "One caller: the nearest bank, what is known of it, and what to ask.",
    "explain": "The arithmetic behind a reach, a bank or a repair.",
    "screen": "A stack of applications: judge each by the program's rules, into a docket.",
    "choose": "Freeze chosen repairs as sites with permanent names.",
    "budget": "The best set of repairs that an amount of money buys.",
    "compare": "What moved between two rankings, matched by place, and why.",
    "profile": "Toe and top of sections surveyed in the field.",
    "step": "Run one stage alone, from file to file.",
    "trace": "Draw stream lines from a DEM where there are none.",
    "sheets": "Print the first places: overview, map, sections, numbers, checklist.",
    "table": "Write the ranking as a spreadsheet.",
    "columns": "Say what a layer or a column means.",
    "settings": "Print all settings, explained, as a file to edit.",
    "curves": "List the regional curves for bankfull size.",
    "factors": "Say what the hazard score is made of, and where it comes from.",
}
"""Name and one line for `reachrank --help`; the module of the same name has the rest."""


class _Commands(click.Group):
    """Commands in the order of use, loaded one at a time."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command = getattr(import_module(f"reachrank.commands.{cmd_name}"), cmd_name)
        return command if isinstance(command, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="reachrank", prog_name="reachrank")
def cli() -> None:
    """Rank the eroding banks of small streams from a stream line and a lidar DEM.

    Begin with `reachrank demo`. With --debug any command shows the full trace of an error.
    """
