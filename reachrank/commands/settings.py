"""`reachrank settings`: all settings, explained, as a file to edit."""

from __future__ import annotations

import click

from reachrank.commands.input_options import chosen_settings, settings_options


@click.command()
@settings_options
def settings(settings_file: str | None, set_values: tuple[str, ...]) -> None:
    """Print every setting with its meaning, limits and source, as TOML.

    Keep the lines that you change and hand the file to --settings. With a settings file, its
    values are checked and shown in place of the defaults.
    """
    from reachrank.settings.as_toml import settings_toml  # noqa: PLC0415  (loads pydantic)

    click.echo(settings_toml(chosen_settings(settings_file, set_values)), nl=False)
