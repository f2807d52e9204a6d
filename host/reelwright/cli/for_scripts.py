"""The option of every command that answers one question, for who asks by a script."""

from __future__ import annotations

import click

JSON_HELP = "Print one JSON object; units are in the keys."
AS_JSON = click.option("--json", "as_json", is_flag=True, help=JSON_HELP)
