"""The port: one lock for each, one error for each way to fail, and found again after it was unplugged."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import serial

from reelwright.device import lock
from reelwright.device.discovery import find_port
from reelwright.device.lock import PortLock
from reelwright.device.port import TERMINAL_ERRORS, Port
from reelwright.errors import LinkLostError, PortError

posix = pytest.mark.skipif(os.name != "posix", reason="lock files for ports are a thing of POSIX")
DEVICE = "/dev/ttyWINDER9"
NO_PROCESS = 2**22 + 1  # above the highest number that Linux gives

HOLD = """
import sys
from pathlib import Path
from reelwright.device.lock import PortLock
lock = PortLock(sys.argv[1], Path(sys.argv[2]))
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder for lock files, in place of the computer's own."""
    monkeypatch.setattr(lock, "FOLDER", tmp_path)
    return tmp_path


class Wire:
    """Stands in for pyserial's port, and fails as told."""

    def __init__(self, failure: Exception | None = None) -> None:
        self.timeout = 0.02
        self._failure = failure
        self.closed = 0

    @property
    def in_waiting(self) -> int:
        self._fail()
        return 0

    def read(self, count: int) -> bytes:
        del count
        self._fail()
        return b"\n"

    def write(self, data: bytes) -> int:
        self._fail()
        return len(data)

    def close(self) -> None:
        self.closed += 1
        self._fail()

    def _fail(self) -> None:
        if self._failure:
            raise self._failure


FAILURES = (
    serial.SerialException("device reports readiness to read but returned no data"),
    serial.SerialTimeoutException("Write timeout"),
    OSError(5, "Input/output error"),
    TypeError("'NoneType' object cannot be interpreted as an integer"),
    ValueError("I/O operation on closed file"),
    AttributeError("'NoneType' object has no attribute 'select'"),
    *(error(5, "Input/output error") for error in TERMINAL_ERRORS),
)


@pytest.mark.parametrize("failure", FAILURES, ids=lambda failure: type(failure).__name__)
def test_whatever_a_vanished_port_raises_is_a_lost_link_and_closing_it_is_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch, failure: Exception
) -> None:
    wire = Wire(failure)
    monkeypatch.setattr("reelwright.device.port._open", lambda _: wire)
    port = Port(DEVICE)
    for act in (port.read, lambda: port.write(b"\n")):
        with pytest.raises(LinkLostError, match=f"The port {DEVICE} went away"):
            act()
    port.close()
    assert wire.closed == 1
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("failure", FAILURES, ids=lambda failure: type(failure).__name__)
def test_whatever_keeps_a_port_from_opening_is_a_port_error_and_leaves_no_lock(
    folder: Path, monkeypatch: pytest.MonkeyPatch, failure: Exception
) -> None:
    def refuse(*_: object, **__: object) -> Any:
        raise failure

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    with pytest.raises(PortError) as caught:
        Port(DEVICE)
    assert DEVICE in caught.value.message
    assert caught.value.remedy.endswith(".")
    assert list(folder.iterdir()) == []


@posix
def test_a_lock_file_holds_the_process_number_as_the_standard_says_and_goes_with_its_owner(folder: Path) -> None:
    held = PortLock(DEVICE)
    path = folder / "LCK..ttyWINDER9"
    assert path.read_text().splitlines()[0] == f"{os.getpid():10d}"
    held.release()
    held.release()
    assert not path.exists()


@posix
def test_a_second_host_is_told_who_holds_the_port(folder: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, DEVICE, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None
    holder.stdout.readline()
    with pytest.raises(PortError, match=rf"busy: another program holds it \(process {holder.pid}\)"):
        PortLock(DEVICE)
    holder.communicate(b"")


@posix
def test_a_host_that_was_killed_locks_nobody_out_whoever_has_its_number_now(folder: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, DEVICE, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None
    holder.stdout.readline()
    holder.kill()
    holder.communicate()
    path = folder / "LCK..ttyWINDER9"
    assert path.exists()
    path.write_text(f"{1:10d}\n{lock.OURS}")  # its number has gone to a process that lives
    PortLock(DEVICE).release()
    assert not path.exists()


@posix
def test_another_programs_lock_holds_while_that_program_lives(folder: Path) -> None:
    path = folder / "LCK..ttyWINDER9"
    path.write_text(f"{os.getppid():10d}\n")
    with pytest.raises(PortError, match="busy"):
        PortLock(DEVICE)
    assert path.exists()
    for nobody in (f"{NO_PROCESS:10d}\n", "rubbish", "", "99999999999999999999999\n"):
        path.write_text(nobody)
        PortLock(DEVICE).release()
        assert not path.exists()


@posix
def test_a_link_to_the_device_is_the_same_port_and_a_folder_that_cannot_be_written_is_no_failure(
    folder: Path, tmp_path: Path
) -> None:
    link = tmp_path / "by-serial-number"
    link.symlink_to("/dev/null")
    held = PortLock(str(link))
    assert (folder / "LCK..null").exists()
    held.release()
    PortLock(DEVICE, Path("/nowhere/at/all")).release()


def test_a_port_is_found_again_by_its_serial_number(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    del folder
    entries = [SimpleNamespace(device="/dev/ttyACM0", serial_number="A1", vid=0x2E8A)]
    opened: list[str] = []

    def open_it(name: str) -> Wire:
        opened.append(name)
        if all(entry.device != name for entry in entries):
            raise PortError("There is no port.")
        return Wire()

    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: entries)
    monkeypatch.setattr("reelwright.device.port._open", open_it)
    port = Port("/dev/ttyACM0")
    entries[:] = []
    with pytest.raises(PortError):
        port.reopen()
    entries[:] = [
        SimpleNamespace(device="/dev/ttyACM0", serial_number="B2", vid=0x2E8A),
        SimpleNamespace(device="/dev/ttyACM1", serial_number="A1", vid=0x2E8A),
    ]
    port.reopen()
    assert port.name == "/dev/ttyACM1", "not the other board, which has taken its name"
    assert opened == ["/dev/ttyACM0", "/dev/ttyACM1"]
    port.close()


def test_several_boards_are_told_apart_for_the_person(monkeypatch: pytest.MonkeyPatch) -> None:
    entries = [SimpleNamespace(device=f"/dev/ttyACM{n}", serial_number=f"S{n}", vid=0x2E8A) for n in (0, 1)]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: entries)
    with pytest.raises(PortError, match=r"Several ports may be the winder: .*S0.*S1"):
        find_port()


@posix
def test_a_folder_is_told_to_be_no_port(folder: Path) -> None:
    with pytest.raises(PortError) as told:
        Port(str(folder))
    assert told.value.message == f"{folder} is a folder, no port."


def test_a_failure_without_a_sentence_of_its_own_is_told_once_and_in_words(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    del folder
    failure = serial.SerialException(errno.EIO, "[Errno 5] could not open port: [Errno 5] Input/output error")
    monkeypatch.setattr(serial, "serial_for_url", lambda *_, **__: NeverOpens(failure))
    with pytest.raises(PortError) as told:
        Port(DEVICE)
    assert "Errno" not in told.value.message
    assert told.value.message == f"The port {DEVICE} could not be opened: {os.strerror(errno.EIO)}."


class ModemLines:
    """DTR and RTS of a tty, which the kernel turns on together as it is opened, and what an ESP32 makes of them.

    The circuit: Espressif, schematic of the ESP8684-DevKitC-02 V1.0, table "Auto program", whose levels are those at
    the bridge, low while a line is on: EN is low while RTS is on and DTR off.
    """

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        import fcntl
        import termios

        self.on = {"dtr": True, "rts": True}
        self.resets = 0
        real = fcntl.ioctl
        lines = {termios.TIOCM_DTR: "dtr", termios.TIOCM_RTS: "rts"}

        def ioctl(fd: int, request: int, argument: Any = 0, *further: Any) -> Any:
            if request not in (termios.TIOCMBIS, termios.TIOCMBIC):
                return real(fd, request, argument, *further)
            self.on[lines[int.from_bytes(argument, sys.byteorder)]] = request == termios.TIOCMBIS
            self.resets += self.on["rts"] and not self.on["dtr"]
            return 0

        monkeypatch.setattr(fcntl, "ioctl", ioctl)


@posix
@pytest.mark.parametrize(
    ("vendor", "stay_on"),
    [(0x10C4, False), (0x1A86, False), (0x0403, False), (0x2E8A, True)],
    ids=["bridge", "another bridge", "a third", "USB of its own"],
)
def test_opening_a_port_again_in_a_wind_resets_no_board_behind_it(
    folder: Path, monkeypatch: pytest.MonkeyPatch, vendor: int, stay_on: bool
) -> None:
    del folder
    board, terminal = os.openpty()
    name = os.ttyname(terminal)
    entry = SimpleNamespace(device=name, serial_number=None, vid=vendor)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [entry])
    lines = ModemLines(monkeypatch)
    port = Port(name)
    lines.on.update(dtr=True, rts=True)
    port.reopen()
    assert lines.resets == 0
    assert lines.on == {"dtr": stay_on, "rts": stay_on}
    port.close()
    os.close(board)
    os.close(terminal)


@posix
def test_a_bridge_that_goes_away_as_it_is_opened_is_a_port_error_and_is_closed(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bridge = GoesAway()
    entry = SimpleNamespace(device=DEVICE, serial_number=None, vid=0x10C4)
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [entry])
    monkeypatch.setattr(serial, "serial_for_url", lambda *_, **__: bridge)
    with pytest.raises(PortError):
        Port(DEVICE)
    assert bridge.closed
    assert list(folder.iterdir()) == []


class GoesAway:
    """Stands in for pyserial's port: its lines are gone once it is open."""

    def __init__(self) -> None:
        self.opened = False
        self.closed = False

    def __setattr__(self, name: str, value: object) -> None:
        if name in ("dtr", "rts") and self.opened:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        super().__setattr__(name, value)

    def open(self) -> None:
        self.opened = True

    def close(self) -> None:
        self.closed = True


class NeverOpens:
    """Stands in for pyserial's port."""

    def __init__(self, failure: Exception) -> None:
        self._failure = failure

    def open(self) -> None:
        raise self._failure
