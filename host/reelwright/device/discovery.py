"""Finds the winder's port by its USB identity, and tells one that is gone; never writes to a port to find out."""

from __future__ import annotations

import os
import socket
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from reelwright.errors import NoPortError, PortError

if TYPE_CHECKING:
    from serial.tools.list_ports_common import ListPortInfo

SOCKET = "socket://"
CONNECT_S = 1.0  # granted to a computer for an answer; a listener on this one answers at once

# USB vendor -> what carries it. A port of another vendor must be named by the person.
BOARD_VENDORS = {
    0x2E8A: "RP2040 or RP2350 board",
    0x303A: "ESP32 board",
    0x10C4: "UART bridge",
    0x1A86: "UART bridge",
    0x0403: "UART bridge",
}


def entry_of(name: str) -> ListPortInfo | None:
    """What the system says of the device behind a port; None for one that it does not list, such as a socket."""
    if "://" in name:
        return None
    from serial.tools import list_ports

    names = (name, os.path.realpath(name))  # a link to the device is as good
    return next((entry for entry in list_ports.comports() if entry.device in names), None)


def name_now(serial_number: str) -> str | None:
    """The port of the device with this serial number, whatever it is called since it was plugged in again."""
    from serial.tools import list_ports

    return next((str(each.device) for each in list_ports.comports() if each.serial_number == serial_number), None)


def is_gone(name: str) -> bool:
    """Whether a port is surely not there: its file is missing, or nothing listens behind its socket:// address.

    Of others, such as COM3, that is not known. Nothing is sent: a winder that is there takes no notice.
    """
    if not name.startswith(SOCKET):
        return os.path.isabs(name) and not os.path.exists(name)
    try:
        address = urlsplit(name)
        with socket.create_connection((address.hostname or "", address.port or 0), CONNECT_S):
            return False
    except ConnectionRefusedError:
        return True
    except (OSError, ValueError):  # too slow, out of reach, no address: nobody can tell
        return False


def find_port() -> str:
    """The only port that may be a winder. Raises PortError, listing what is there, when none or several may."""
    from serial.tools import list_ports

    entries = sorted(list_ports.comports(), key=lambda entry: entry.device)
    likely = [entry for entry in entries if entry.vid in BOARD_VENDORS]
    if len(likely) == 1:
        return str(likely[0].device)
    if likely:
        listing = "; ".join(
            f"{entry.device} ({BOARD_VENDORS[entry.vid]}, serial number {entry.serial_number})" for entry in likely
        )
        raise PortError(f"Several ports may be the winder: {listing}.", "Name one with --port.")
    names = ", ".join(entry.device for entry in entries) or "none at all"
    plug_in = "Plug the board in, or name its port with --port."
    raise NoPortError(
        f"No port looks like a winder's board. Serial ports here: {names}.",
        f"{plug_in} `reelwright simulate` offers a simulated winder.",
        plug_in,
    )
