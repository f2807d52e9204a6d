"""The control loop: read, decide, apply, once every LOOP_MS, and the drive off on every way out."""

from windcore.journal import Memory, Registers
from windcore.service import Identity, LinkService
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windlink import codes

# Read by type checkers only: MicroPython has no typing module.
MYPY = False
if MYPY:
    from typing import Protocol

    from windcore.journal import Store, Words

    class Board(Protocol):
        """What the loop needs of a board."""

        identity: Identity
        backup: Words  # registers that outlive a reset, at least windcore.journal.WORDS
        store: Store  # two slots of flash
        blind_ms: int  # the longest time without counting before this start; 0 where nobody can tell

        def now_ms(self) -> int:
            """The clock, in milliseconds that wrap at 2^30."""

        def read(self, inputs: Inputs) -> None:
            """Fill in pulses and switches."""

        def apply(self, outputs: Outputs) -> None:
            """Drive motor, lamp and buzzer, and renew the motor's lease.

            A board on which nobody has called this for LEASE_MS turns the motor off by itself: on hardware from a
            timer, whose handler does that one thing. It counts these lapses in the inputs.
            """

        def off(self) -> None:
            """Motor off, whatever happened before: `boards.motor_pins.let_go`. Must never raise."""

        def feed(self) -> None:
            """Feed the watchdog, which restarts a board that was not fed for WATCHDOG_MS.

            Called in one place, at the end of a pass in which sensors, motor and link were all served.
            """

        def collect(self) -> bool:
            """Collect garbage where it is time for it; whether it was."""

        def receive(self, room: bytearray) -> int:
            """Take bytes that have arrived, at most a room full; how many. Never waits."""

        def send(self, line: bytes) -> bool:
            """Hand a whole line to the port, or nothing of it. Never waits for a host that does not read."""

        def wait(self) -> bool:
            """Wait for the next period. False ends the loop."""


def run(board: "Board") -> bool:
    """Build the winder's mind on a board and run it until the board says stop, or anything goes wrong.

    True when the board shall restart for an upload.

    KeyboardInterrupt (Ctrl-C on the port) and every other exception leave through `finally`: drive off first.
    """
    inputs = Inputs()
    outputs = Outputs()
    received = bytearray(128)
    try:
        memory = Memory(board.backup, board.store, board.blind_ms, board.identity.cause)
        board.identity.cause = memory.cause
        session = Session(memory.cause, memory.past)
        # a board whose spare pins reach no sensor has no such function
        service = LinkService(session, board.identity, getattr(board, "make_pulses", None))
        going = True
        while going:
            now_ms = board.now_ms()
            board.read(inputs)
            inputs.silent_ms = service.silent_ms(now_ms)
            session.step(inputs, outputs, now_ms)
            board.apply(outputs)
            memory.keep_count(session)
            # a collection takes as long as a request and a line do: a pass that collects serves nobody
            serves = not board.collect()
            count = board.receive(received) if serves else 0
            if count:
                service.feed(received, count, now_ms)
                if service.paused():
                    session.skip_to(board.now_ms())
            if memory.due(session):
                memory.keep_rest(session)
                session.skip_to(board.now_ms())
            # one line in a pass: on a board each takes a good part of the period to make and to send
            line = service.outgoing(now_ms) if serves else b""
            if line:
                service.sent(line, now_ms, board.send(line))
            if service.restart_due(now_ms):
                return True
            board.feed()
            going = board.wait()
        return False
    except KeyboardInterrupt:
        board.off()
        # the next start is then told from one that nobody asked for
        Registers(board.backup).announce(codes.COMMANDED)
        raise
    finally:
        board.off()
