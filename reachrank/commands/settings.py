"""`reachrank settings`: all settings, explained, as a file to edit."""

from __future__ import annotations

import click

from reachrank.commands.input_options import chosen_settings, settings_options


@click.command()
@click.option("--prices", is_flag=True, help="Print the price file instead, to edit.")
@settings_options
def settings(*, settings_file: str | None, set_values: tuple[str, ...], prices: bool) -> None:
    """Print every setting with its meaning, limits and source, as TOML.

    Keep the lines that you change and hand the file to --settings. With a settings file, its
    values are checked and shown in place of the defaults. --prices prints the prices of repairs,
    invented ones, for a file that the setting materials.prices_file names.
    """
    if prices:
        from reachrank.repairs.prices import demo_prices_text  # noqa: PLC0415

        click.echo(demo_prices_text(), nl=False)
        return
    from reachrank.settings.as_toml import settings_toml  # noqa: PLC0415  (loads pydantic)

    click.echo(settings_toml(chosen_settings(settings_file, set_values)), nl=False)
