"""The serial port, owned by one thread, with every failure turned into one of two errors."""

from __future__ import annotations

import errno
from typing import Any

from reelwright.errors import DeviceError, LinkLostError

READ_TIMEOUT_S = 0.02
WRITE_TIMEOUT_S = 2.0
BAUD_RATE = 115200

# USB vendors of UART bridges whose DTR and RTS lines reset the board behind them: held low before opening.
BRIDGE_VENDORS = (0x10C4, 0x1A86, 0x0403)


class Port:
    """An open port. `name` is what the person gave: a device path, COM name or socket:// address."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._serial = _open(name)

    def read(self, wait_s: float = READ_TIMEOUT_S) -> bytes:
        """What has arrived; waits at most wait_s for the first byte. Raises LinkLostError."""
        try:
            self._serial.timeout = wait_s
            waiting = self._serial.in_waiting
            return bytes(self._serial.read(max(1, min(waiting, 4096))))
        except (OSError, TypeError, ValueError) as failure:
            raise self._lost() from failure

    def write(self, data: bytes) -> None:
        """Send bytes. Raises LinkLostError when the port is gone or does not take them within two seconds."""
        try:
            self._serial.write(data)
        except (OSError, TypeError, ValueError) as failure:
            raise self._lost() from failure

    def close(self) -> None:
        """Close the port. Closing a port that is gone already is no failure."""
        try:
            self._serial.close()
        except (OSError, TypeError):
            return

    def _lost(self) -> LinkLostError:
        return LinkLostError(
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
        if _usb_vendor(name) in BRIDGE_VENDORS:
            port.dtr = False
            port.rts = False
        port.open()
    except (OSError, ValueError, TypeError, AttributeError) as failure:
        raise _why_not(name, failure) from failure
    return port


def _usb_vendor(name: str) -> int | None:
    if "://" in name:
        return None
    from serial.tools import list_ports

    for entry in list_ports.comports():
        if entry.device == name:
            return entry.vid if isinstance(entry.vid, int) else None
    return None


def _why_not(name: str, failure: Exception) -> DeviceError:
    number = getattr(failure, "errno", None)
    text = str(failure)
    if number == errno.ENOENT or "FileNotFound" in text:
        return DeviceError(
            f"There is no port {name}.", "Plug the winder in, or start `reelwright simulate`, and give its port."
        )
    if number == errno.EACCES and "lock" not in text:
        return DeviceError(
            f"The port {name} may not be opened by this user.",
            "On Linux add yourself to the group that owns it (often dialout) and log in again.",
        )
    if "lock" in text or number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in text:
        return DeviceError(
            f"The port {name} is busy: another program holds it.", "Close the other program, then try again."
        )
    if name.startswith("socket://"):
        return DeviceError(
            f"No winder listens at {name}.", "Give socket://HOST:PORT, as `reelwright simulate --socket` prints it."
        )
    if (
        "Could not configure" in text
        or number == errno.ENOTTY
        or isinstance(failure, ValueError | TypeError | AttributeError)
    ):
        return DeviceError(f"{name} is no serial port.", "Give the port of the winder, such as /dev/ttyACM0 or COM5.")
    return DeviceError(f"The port {name} could not be opened: {text}.", "Check that it names a serial port.")
