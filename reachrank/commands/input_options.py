"""The inputs of a run as arguments and options, shared by rank, check and step read.

The options for what columns and values mean are made from the settings group ``[inputs]``, so a
new setting there is an option here without a change.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields
from typing import TYPE_CHECKING, Any

import click

from reachrank.settings import InputsSettings

if TYPE_CHECKING:
    from reachrank.context import Inputs
    from reachrank.settings import Settings

Command = Callable[..., Any]

_FILES = (
    (
        "--structures",
        "structures",
        "Buildings or other things that could be lost; may be repeated.",
        True,
    ),
    ("--roads", "roads", "Road lines.", False),
    ("--cover", "cover", "Raster of canopy height or land-cover classes.", False),
    ("--soils", "soils", "Soil polygons with a texture or erodibility column.", False),
    ("--area-raster", "area_raster", "Raster of drainage area.", False),
    ("--constraints", "constraints", "Areas that call for a permit: wetland, floodway.", False),
)

jobs_option = click.option(
    "--jobs",
    type=click.IntRange(1),
    default=1,
    show_default=True,
    help="How many processor cores to work with.",
)
overwrite_option = click.option(
    "--overwrite", is_flag=True, help="Replace the result file if there is one."
)

allow_remote_option = click.option(
    "--allow-remote", is_flag=True, help="Allow inputs that are not plain files on this machine."
)


def settings_options(command: Command) -> Command:
    """Add the settings file and single settings."""
    command = click.option(
        "--set", "set_values", metavar="GROUP.KEY=VALUE", multiple=True,
        help="One setting; beats the file. May be repeated.",
    )(command)  # fmt: skip
    return click.option(
        "--settings",
        "settings_file",
        metavar="FILE.toml",
        help="Settings; see `reachrank settings`.",
    )(command)


def dem_options(command: Command) -> Command:
    """Add the options on how the DEM is read."""
    for option in (
        allow_remote_option,
        click.option(
            "--dem-units",
            type=click.Choice(["m", "ft", "us-ft"]),
            help="Vertical unit of the DEM where the file does not state it. ft is the "
            "international foot, us-ft the U.S. survey foot.",
        ),
    ):
        command = option(command)
    return command


def input_arguments(command: Command) -> Command:
    """Add STREAMS, DEM... and all options that say what else to read and what it means."""
    for setting in reversed(fields(InputsSettings)):
        command = _option_of(setting)(command)
    command = settings_options(dem_options(command))
    command = click.option(
        "--curve", metavar="NAME", help="Regional curve for bankfull size; see `reachrank curves`."
    )(command)
    for flag, name, text, many in reversed(_FILES):
        command = click.option(flag, name, metavar="FILE", multiple=many, help=text)(command)
    command = click.argument("dem", nargs=-1, required=True, metavar="DEM...")(command)
    return click.argument("streams", metavar="STREAMS")(command)


def inputs_and_settings(given: Mapping[str, Any]) -> tuple[Inputs, Settings]:
    """Return what the user handed over, from the values of `input_arguments`.

    An option beats the settings file, which beats the default.
    """
    from reachrank.context import Inputs  # noqa: PLC0415  (opens the geometry libraries)

    names = {field.name for field in fields(Inputs)}
    inputs = Inputs(**{name: value for name, value in given.items() if name in names})
    chosen = {
        f"inputs.{field.name}": given[field.name]
        for field in fields(InputsSettings)
        if given.get(field.name) is not None
    }
    return inputs, chosen_settings(given["settings_file"], given["set_values"], chosen)


def chosen_settings(
    path: str | None, set_values: Iterable[str] = (), options: Mapping[str, Any] | None = None
) -> Settings:
    """Return the settings of a file, or the defaults, with single values on top; all checked."""
    from reachrank.settings.load import load_settings, parse_override  # noqa: PLC0415  (pydantic)

    return load_settings(path, {**dict(map(parse_override, set_values)), **(options or {})})


def _option_of(setting: Any) -> Callable[[Command], Command]:
    told = setting.metadata
    kind: Any = type(setting.default)
    if told["choices"]:
        kind = click.Choice(list(told["choices"]))
    elif kind is tuple:
        kind = _WholeNumbers()
    return click.option(
        "--" + setting.name.replace("_", "-"),
        setting.name,
        type=kind,
        default=None,
        help=told["text"],
    )


class _WholeNumbers(click.ParamType):  # type: ignore[type-arg,unused-ignore]  # generic since click 8.4
    """Whole numbers with commas between: 41,42,43."""

    name = "numbers"

    def convert(self, value: Any, param: Any, ctx: Any) -> tuple[int, ...]:
        if isinstance(value, tuple):
            return value
        try:
            return tuple(int(word) for word in str(value).split(","))
        except ValueError:
            return self.fail(f"{value!r} is not a list of whole numbers like 41,42,43", param, ctx)
