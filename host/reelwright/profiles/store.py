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

Named = dict[str, dict[str, object]]
Kinds = dict[str, Named]

KINDS = ("spool", "strand", "machine", "material")

# Tables of a machine file beside its profile; one that lies among the profiles is read for the profile alone.
BOARD_TABLES = ("board", "wiring")


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
    """All profiles, read as they are asked for. Raises UsageError or FileFaultsError for a file that is broken."""

    def __init__(self) -> None:
        self._own: Kinds | None = None
        self._files: dict[tuple[str, str], Path] = {}
        self._by_kind: Kinds = {}

    def names(self, kind: str) -> list[str]:
        """The names of a kind, in order."""
        return sorted(self._of(kind))

    def find(self, kind: str, name: str) -> dict[str, object] | None:
        """The values of a profile; None where there is none of that name. Case does not matter."""
        wanted = name.casefold()
        return next((dict(values) for each, values in self._of(kind).items() if each.casefold() == wanted), None)

    def own_file_of(self, kind: str, name: str) -> Path | None:
        """The person's file that holds the profile; the last one where several do, as it goes before the others."""
        self._own_profiles()
        return self._files.get((kind, name.casefold()))

    def unknown(self, kind: str, name: str) -> str:
        """A sentence on a name that no profile has."""
        names = self.names(kind)
        return f'no {kind} profile is called "{printable(name)}"{near(name, names) or ";"} there are {", ".join(names)}'

    def _of(self, kind: str) -> Named:
        if kind not in self._by_kind:
            own = self._own_profiles()[kind]
            ousted = {name.casefold() for name in own}
            builtin = _read_profiles(builtin_folder() / f"{kind}.toml")[kind]
            kept = {name: values for name, values in builtin.items() if name.casefold() not in ousted}
            self._by_kind[kind] = kept | own
        return self._by_kind[kind]

    def _own_profiles(self) -> Kinds:
        if self._own is None:
            self._own = {kind: {} for kind in KINDS}
            for path in sorted(own_folder().glob("*.toml")):
                for kind, named in _read_profiles(path).items():
                    self._own[kind] |= named
                    self._files |= {(kind, name.casefold()): path for name in named}
        return self._own


def profile_names(kind: str) -> list[str]:
    """The names of all profiles of a kind: "spool", "strand", "machine" or "material"."""
    return Profiles().names(kind)


def comes_along(kind: str, name: str) -> bool:
    """Whether a profile of this name comes with the program. Case does not matter."""
    builtin = _read_profiles(builtin_folder() / f"{kind}.toml")[kind]
    return name.casefold() in (each.casefold() for each in builtin)


def _read_profiles(path: Path) -> Kinds:
    found: Kinds = {kind: {} for kind in KINDS}
    faults = []
    for kind, entries in read_toml(path).items():
        if kind in BOARD_TABLES:
            continue
        if kind not in KINDS:
            sentence = f"a profile file holds tables named {', '.join(KINDS)}{near(kind, KINDS)}"
            faults.append(Fault(printable(kind), sentence))
        elif not isinstance(entries, dict):
            faults.append(Fault(kind, f"write a table [{kind}.NAME]"))
        else:
            for name, values in entries.items():
                if isinstance(values, dict):
                    found[kind][name] = values
                else:
                    faults.append(Fault(f"{kind}.{printable(name)}", f"write a table [{kind}.NAME] around it"))
    if faults:
        raise FileFaultsError(str(path), faults)
    return found
