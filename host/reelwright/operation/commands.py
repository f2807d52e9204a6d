"""The commands that a hint tells, whole, so that they can be pasted."""

from __future__ import annotations

import shlex
from typing import TYPE_CHECKING

from attrs import frozen

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reelwright.ledger import WindRecord

PROGRAM = "reelwright"
JOB_FILE = "JOB.toml"  # where only the person knows which
_OF_A_RESUMPTION = ("--resume", "--agree")
_OF_A_RESUMPTION_WITH_VALUE = ("--agree-within", "--counted-turns", "--give-or-take")


def resume_command(job_id: int, port_name: str = "", *more: str) -> str:
    """The command that goes on with a job, wherever its winder has got to. more: further words."""
    return shlex.join([PROGRAM, "wind", "--resume", str(job_id), *_at(port_name), *more])


def counted_command(job_id: int, port_name: str = "") -> str:
    """The command that goes on, after a restart of the winder, from turns that a person has counted."""
    return resume_command(job_id, port_name, "--counted-turns", "TURNS", "--agree")


def drop_command(port_name: str, words: Sequence[str] = ()) -> str:
    """The command that gives up what the winder at a port holds or remembers, and begins a job in its place.

    words: those that were typed to begin this job; by default it is one of a file that the person names.
    """
    return _again(port_name, [word for word in words if word != "--drop-held"], "--drop-held")


def clear_command(port_name: str, trip: str, words: Sequence[str] = (), job_id: int = 0) -> str:
    """The command that clears a trip, and goes on. words: as in `drop_command`; without them job_id is resumed."""
    if not words and job_id:
        return resume_command(job_id, port_name, "--clear", trip)
    return _again(port_name, _without_clear(words), "--clear", trip)


@frozen
class Ways:
    """The ways on that a hint names, for a port and the words that the command was given."""

    port_name: str
    words: Sequence[str] = ()

    @property
    def once_cleared(self) -> Ways:
        """The same, once the trip is cleared that the words may name: named again it would be refused."""
        return Ways(self.port_name, _without_clear(self.words))

    @property
    def begin(self) -> str:
        """The command that begins this job where no trip holds the winder."""
        return _again(self.port_name, _without_clear(self.words))

    @property
    def drop(self) -> str:
        """The command that gives up what the winder has, and begins this job."""
        return drop_command(self.port_name, self.words)

    def clear(self, trip: str, job_id: int) -> str:
        """The command that clears a trip, and goes on with this job."""
        return clear_command(self.port_name, trip, self.words, job_id)

    def go_on(self, record: WindRecord) -> str:
        """How to go on with a job; the sentence has no end."""
        return f"Go on with it by `{resume_command(record.job_id, self.port_name)}`"

    def go_on_or_drop(self, record: WindRecord) -> str:
        """The two ways on with a job that the winder had."""
        return f"{self.go_on(record)}, or give it up by `{self.drop}`."


def words_to_begin(words: Sequence[str]) -> list[str]:
    """The words that begin a job from its beginning, of those that were typed to resume it."""
    return _without(words, flags=_OF_A_RESUMPTION, with_value=_OF_A_RESUMPTION_WITH_VALUE)


def _without_clear(words: Sequence[str]) -> list[str]:
    return _without(words, with_value=("--clear",))


def _without(words: Sequence[str], *, flags: Sequence[str] = (), with_value: Sequence[str] = ()) -> list[str]:
    return [
        word
        for before, word in zip(("", *words), words, strict=False)
        if before not in with_value and word not in (*flags, *with_value) and word.partition("=")[0] not in with_value
    ]


def _again(port_name: str, words: Sequence[str], *more: str) -> str:
    typed = words or ["wind", JOB_FILE]
    has_port = any(word == "--port" or word.startswith("--port=") for word in typed)
    return shlex.join([PROGRAM, *typed, *([] if has_port else _at(port_name)), *more])


def _at(port_name: str) -> list[str]:
    return ["--port", port_name] if port_name else []
