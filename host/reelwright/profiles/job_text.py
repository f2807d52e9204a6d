"""A job as the text of a job file, as short as a person would write it: defaults are left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from attrs import fields

if TYPE_CHECKING:
    from collections.abc import Iterable

    from reelwright.winding.job import Job


def job_text(job: Job, comments: Iterable[str] = ()) -> str:
    """TOML that `load_job` reads back as the same job. comments: lines to stand above it."""
    import tomlkit  # a tenth of a second, and only to write

    head = "".join(f"# {line}\n" for line in comments)
    return f"{head}\n{tomlkit.dumps(_without_defaults(job))}"


def _without_defaults(job: Job) -> dict[str, dict[str, object]]:
    tables = {}
    for name, table in cast("dict[str, dict[str, object]]", job.to_dict()).items():
        defaults = {field.name: field.default for field in fields(type(getattr(job, name)))}
        kept = {key: value for key, value in table.items() if getattr(getattr(job, name), key) != defaults[key]}
        if kept:
            tables[name] = kept
    return tables
