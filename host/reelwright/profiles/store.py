"""Named spools, strands, machines and materials: those that come with the program, and the person's own.

A profile file is TOML with tables [spool.NAME], [strand.NAME], [machine.NAME] and [material.NAME]. The
person's folder is profiles/ under the configuration folder of the system, or under the folder that the
environment variable REELWRIGHT_HOME names. A profile there goes before one of the same name that comes with
the program.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from reelwright.errors import Fault, FileFaultsError
from reelwright.profiles.toml_files import read_toml
from reelwright.profiles.values import near, printable

if TYPE_CHECKING:
    from pathlib import Path

KINDS = ("spool", "strand", "machine", "material")


def builtin_folder() -> Path:
    """Where the profiles are that come with the program."""
    from pathlib import Path  # with platformdirs a tenth of a plan's start-up, and only for named profiles

    return Path(__file__).with_name("builtin")


def own_folder() -> Path:
    """Where the person's own profiles are; it need not exist."""
    from pathlib import Path

    home = os.environ.get("REELWRIGHT_HOME")
    if home:
        return Path(home) / "profiles"
    from platformdirs import user_config_dir

    return Path(user_config_dir("reelwright")) / "profiles"


class Profiles:
    """All profiles, read at first use. Raises UsageError or FileFaultsError for a file that is broken."""

    def __init__(self) -> None:
        self._by_kind: dict[str, dict[str, dict[str, object]]] | None = None

    def names(self, kind: str) -> list[str]:
        """The names of a kind, in order."""
        return sorted(self._all()[kind])

    def find(self, kind: str, name: str) -> dict[str, object] | None:
        """The values of a profile; None where there is none of that name. Case does not matter."""
        wanted = name.casefold()
        return next((dict(values) for each, values in self._all()[kind].items() if each.casefold() == wanted), None)

    def unknown(self, kind: str, name: str) -> str:
        """A sentence on a name that no profile has."""
        names = self.names(kind)
        return f'no {kind} profile is called "{printable(name)}"{near(name, names) or ";"} there are {", ".join(names)}'

    def _all(self) -> dict[str, dict[str, dict[str, object]]]:
        if self._by_kind is None:
            self._by_kind = {kind: {} for kind in KINDS}
            for folder in (builtin_folder(), own_folder()):
                for path in sorted(folder.glob("*.toml")):
                    _add_file(self._by_kind, path)
        return self._by_kind


def profile_names(kind: str) -> list[str]:
    """The names of all profiles of a kind: "spool", "strand", "machine" or "material"."""
    return Profiles().names(kind)


def _add_file(by_kind: dict[str, dict[str, dict[str, object]]], path: Path) -> None:
    faults = []
    for kind, entries in read_toml(path).items():
        if kind not in KINDS:
            faults.append(
                Fault(printable(kind), f"a profile file holds tables named {', '.join(KINDS)}{near(kind, KINDS)}")
            )
        elif not isinstance(entries, dict):
            faults.append(Fault(kind, f"write a table [{kind}.NAME]"))
        else:
            for name, values in entries.items():
                if isinstance(values, dict):
                    by_kind[kind] = {
                        known: old for known, old in by_kind[kind].items() if known.casefold() != name.casefold()
                    } | {name: values}
                else:
                    faults.append(Fault(f"{kind}.{printable(name)}", f"write a table [{kind}.NAME] around it"))
    if faults:
        raise FileFaultsError(str(path), faults)
