"""The machine that this board drives: `machine.json` at the root of its file system, as the host has compiled it.

The host checks a machine in full before it compiles it. Here only what would do harm is looked at again: a file that
is missing, cut short, or made for another board.
"""

import json

from windlink.pins import BY_NAME, DEFAULT_PULL, FILE, FORMAT, HIGHEST_PIN, IN, KEYS, LEVEL, PULLS, ROLES, capabilities

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Any


class BoardError(Exception):
    """This board cannot wind. args[0] says why, and what to do."""


class DescriptionError(BoardError):
    """No description of the machine, or none that can be used. args[0] says all that is wrong."""


class Description:
    """Pins by role, how each is wired, and numbers under the names of `windlink.pins.KEYS`."""

    def __init__(self, found: "dict[str, Any]") -> None:
        self.pins: "dict[str, int]" = found["pins"]
        self._active_low = found.get("active_low", [])
        self._pulls = found.get("pulls", {})
        self._numbers = {key.name: found.get(key.name, key.default) for key in KEYS}

    def pin(self, role: str) -> int:
        """The pin of a role; -1 where it is not there."""
        return self.pins.get(role, -1)

    def number(self, key: str) -> int:
        """One of KEYS."""
        value: int = self._numbers[key]
        return value

    def active_level(self, role: str) -> int:
        """The level at which a role is active: 1, or 0 for an active low one."""
        return 0 if role in self._active_low else 1

    def pull(self, role: str) -> str:
        """One of PULLS."""
        word: str = self._pulls.get(role, DEFAULT_PULL)
        return word

    @property
    def capabilities(self) -> int:
        """What this machine can do: the link's capability bits."""
        return capabilities(self.pins, self._numbers)


def _faults_of_pins(pins: object) -> "list[str]":
    if not isinstance(pins, dict):
        return ["pins is no table"]
    faults = []
    owner: "dict[int, str]" = {}
    for name in sorted(pins):
        number = pins[name]
        if name not in BY_NAME:
            faults.append("pins: %s is no role that this firmware knows" % name)
        elif not isinstance(number, int) or not 0 <= number <= HIGHEST_PIN:
            faults.append("pins: %s has %r, which is no pin number" % (name, number))
        elif number in owner:
            faults.append("pins: pin %d is both %s and %s" % (number, owner[number], name))
        else:
            owner[number] = name
    for role in ROLES:
        if role.name in pins and role.needs and role.needs not in pins:
            faults.append("pins: %s needs %s" % (role.name, role.needs))
    if "sensor_a" not in pins:
        faults.append("pins: sensor_a is missing: a winder that counts nothing cannot wind")
    return faults


def faults_of(found: object, board: str) -> "list[str]":
    """All that is wrong with a description for this board, as sentences."""
    if not isinstance(found, dict):
        return ["it is no table"]
    faults = []
    if found.get("format") != FORMAT:
        faults.append("format is %r, this firmware reads %d" % (found.get("format"), FORMAT))
    if found.get("board") != board:
        faults.append("it is made for board %r, this is %r" % (found.get("board"), board))
    faults += _faults_of_pins(found.get("pins"))
    active_low = found.get("active_low", [])
    for role in active_low if isinstance(active_low, list) else [active_low]:
        if role not in BY_NAME:
            faults.append("active_low: %r is no role that this firmware knows" % (role,))
        elif BY_NAME[role].motor:
            faults.append("active_low: %s must be off while its pin is low" % role)
        elif BY_NAME[role].way == LEVEL:
            faults.append("active_low: %s is a voltage, and no switch" % role)
    pulls = found.get("pulls", {})
    if not isinstance(pulls, dict):
        faults.append("pulls is no table")
    else:
        for role in sorted(pulls):
            if role not in BY_NAME or BY_NAME[role].way != IN or pulls[role] not in PULLS:
                faults.append("pulls: %s = %r is no input with one of %s" % (role, pulls[role], ", ".join(PULLS)))
    for key in KEYS:
        value = found.get(key.name, key.default)
        if not isinstance(value, int) or not key.lowest <= value <= key.highest:
            faults.append("%s is %r, allowed are %d to %d" % (key.name, value, key.lowest, key.highest))
    return faults


def load(board: str, path: str = FILE) -> Description:
    """The description of this board's machine. Raises DescriptionError."""
    found: "dict[str, Any]" = {}
    faults = None
    try:
        with open(path) as file:
            found = json.load(file)
    except OSError:
        pass
    except ValueError:
        faults = ["it is damaged: it cannot be read as JSON"]
    else:
        faults = faults_of(found, board)
    if faults is None:
        raise DescriptionError(
            "No machine is described on this board (%s): send it one with `reelwright machine push`." % path
        )
    if faults:
        raise DescriptionError("%s: %s. Send it again with `reelwright machine push`." % (path, "; ".join(faults)))
    return Description(found)
