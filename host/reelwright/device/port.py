"""The serial port, owned by one thread, with every failure turned into PortError or LinkLostError."""

from __future__ import annotations

import errno
import os
from contextlib import suppress
from typing import Any

from reelwright.device.discovery import SOCKET, entry_of, name_now
from reelwright.device.lock import PortLock
from reelwright.errors import LinkLostError, NoPortError, PortError, PortGoneError

TERMINAL_ERRORS: tuple[type[Exception], ...] = ()
with suppress(ImportError):  # there are no terminals of this kind on Windows
    import termios

    TERMINAL_ERRORS = (termios.error,)

READ_TIMEOUT_S = 0.02
WRITE_TIMEOUT_S = 2.0
BAUD_RATE = 115200

# USB vendors of UART bridges whose DTR and RTS lines lead to the reset of the board behind them: let go of. The usual
# circuit holds an ESP32 in reset while RTS is on and DTR is off. A board with USB of its own keeps both on: it takes
# DTR for a host that listens.
BRIDGE_VENDORS = (0x10C4, 0x1A86, 0x0403)

# All that pyserial lets through when a port goes away under it.
_GONE: tuple[type[Exception], ...] = (OSError, TypeError, ValueError, AttributeError, *TERMINAL_ERRORS)


class Port:
    """An open port. `name` is what the person gave: a device path, COM name or socket:// address.
    `serial_number` is that of its USB device, empty where the system knows none.

    Not thread-safe, and need not be: one thread owns it, the one that follows the wind. Raises PortError.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        entry = entry_of(name)
        self.serial_number = (entry.serial_number or "") if entry else ""
        self._open()

    def read(self, wait_s: float = READ_TIMEOUT_S) -> bytes:
        """What has arrived; waits at most wait_s for the first byte. Raises LinkLostError."""
        try:
            if self._serial.timeout != wait_s:
                self._serial.timeout = wait_s
            waiting = self._serial.in_waiting
            return bytes(self._serial.read(max(1, min(waiting, 4096))))
        except _GONE as failure:
            raise self._lost() from failure

    def write(self, data: bytes) -> None:
        """Send bytes. Raises LinkLostError when the port is gone or does not take them within two seconds."""
        try:
            self._serial.write(data)
        except _GONE as failure:
            raise self._lost() from failure

    def reopen(self) -> None:
        """Close, and open again: the device of the same serial number where it has one, else the same name.

        Raises PortError while it is not there.
        """
        self.close()
        if self.serial_number:
            name = name_now(self.serial_number)
            if name is None:  # another board may have its old name by now
                raise PortError(f"The board with serial number {self.serial_number} is not there.", "Plug it in.")
            self.name = name
        self._open()

    def close(self) -> None:
        """Close the port. Closing a port that is gone already is no failure."""
        with suppress(*_GONE):
            self._serial.close()
        self._lock.release()

    def _open(self) -> None:
        self._lock = PortLock(self.name)
        try:
            self._serial = _open(self.name)
        except BaseException:
            self._lock.release()
            raise

    def _lost(self) -> LinkLostError:
        return PortGoneError(
            f"The port {self.name} went away.",
            "Check the cable. The winder does as its job says of a lost link; the same command picks the job up.",
        )


def _open(name: str) -> Any:
    # every kind of port that serial_for_url makes has in_waiting, though their common base does not declare it
    import serial

    try:
        port = serial.serial_for_url(name, do_not_open=True)
        port.baudrate = BAUD_RATE
        port.timeout = READ_TIMEOUT_S
        port.write_timeout = WRITE_TIMEOUT_S
        if "://" not in name:
            # keeps a second program of this kind off the port
            port.exclusive = True
        entry = entry_of(name)
        bridge = entry is not None and entry.vid in BRIDGE_VENDORS
        if bridge and os.name == "nt":
            # Windows sets both as it opens the port
            port.dtr = False
            port.rts = False
        port.open()
        if bridge and os.name != "nt":
            _let_go_of_reset(port)
    except _GONE as failure:
        raise _why_not(name, failure) from failure
    return port


def _let_go_of_reset(port: Any) -> None:
    # the kernel has turned both on as the port was opened, and pyserial would turn off DTR first
    try:
        port.rts = False
        port.dtr = False
    except BaseException:
        port.close()
        raise


def _why_not(name: str, failure: Exception) -> PortError:
    number = getattr(failure, "errno", None)
    text = str(failure)
    if number == errno.ENOENT or "FileNotFound" in text:
        return NoPortError(
            f"There is no port {name}.",
            "Plug the winder in, or start `reelwright simulate`, and give its port.",
            "Plug the board in, and give its port.",
        )
    if number == errno.EACCES and "lock" not in text:
        return PortError(
            f"The port {name} may not be opened by this user.",
            "On Linux add yourself to the group that owns it (often dialout) and log in again.",
        )
    if "lock" in text or number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text:
        return PortError(
            f"The port {name} is busy: another program holds it.", "Close the other program, then try again."
        )
    if number == errno.EISDIR:
        return PortError(f"{name} is a folder, no port.", "Give the port of the winder, such as /dev/ttyACM0 or COM5.")
    if name.startswith(SOCKET):
        return NoPortError(
            f"No winder listens at {name}.",
            "Give socket://HOST:PORT, as `reelwright simulate --socket` prints it.",
            "Give the serial port of the board, such as /dev/ttyACM0 or COM5.",
        )
    if (
        "Could not configure" in text
        or number == errno.ENOTTY
        or isinstance(failure, (ValueError, TypeError, AttributeError, *TERMINAL_ERRORS))
    ):
        return PortError(f"{name} is no serial port.", "Give the port of the winder, such as /dev/ttyACM0 or COM5.")
    # the library's own text has the system's in it, name and number once more
    reason = os.strerror(number) if number else text
    return PortError(f"The port {name} could not be opened: {reason}.", "Check that it names a serial port.")
