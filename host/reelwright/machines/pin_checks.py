"""What the pins of a machine forbid one another, what its board forbids them, and what its speeds ask of them.

Each check looks at one rule and notes every breach of it. None is about pins whose PWM shares a frequency, as those of
a Pico do two by two: there `motor_pwm` alone has a PWM, since steps come from PIO and the buzzer is only on or off. An
ESP32 has a frequency for each of the two that it drives by PWM, `motor_pwm` and `step`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

from reelwright.machines.counting import check_counting
from reelwright.machines.wiring_table import COUNTED, contradictions
from reelwright.winding.job import Fitting
from windlink.pins import BY_NAME, IN, LEVEL, LIMITS, MOTOR_ROLES, OUT, ROLES, capabilities
from windlink.sentences import CAPABILITIES, code_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reelwright.machines.machine_file import BoardPins
    from reelwright.machines.wiring_table import Wiring
    from reelwright.profiles.draft import Draft

# drive of a profile -> roles of which it needs one
_OF_DRIVE = {"dc": ("motor_pwm",), "stepper": ("step",), "hand": ("lamp", "buzzer")}


def check_board(draft: Draft, board: BoardPins) -> list[str]:
    """Note every fault of the board's table in the draft. Gives what is no fault, but worth knowing."""
    check_pins(draft, board)
    for check in _CHECKS:
        check(draft, board)
    return [*_not_watched(draft, board), *_dead_when_broken(board), *_outside(board), *_of_board(draft, board)]


def check_pins(draft: Draft, board: BoardPins) -> None:
    """Note each pin that the board lacks, that two roles have, or that may turn the motor before a program runs."""
    _pin_twice(draft, board)
    _pin_of_board(draft, board)
    _motor_pins(draft, board)


def check_wiring(draft: Draft, board: BoardPins, wiring: Wiring) -> None:
    """Note where the pins and their pulls contradict the wiring."""
    for fault in contradictions(wiring, board.pins, board.pulls):
        draft.fault(*fault)


def _pin_twice(draft: Draft, board: BoardPins) -> None:
    owner: dict[int, str] = {}
    for role, pin in board.pins.items():
        if pin in owner:
            draft.fault("board.pins", role, f"pin {pin} is {owner[pin]} already; give each role a pin of its own")
        else:
            owner[pin] = role


def _pin_of_board(draft: Draft, board: BoardPins) -> None:
    facts = board.facts
    for role, pin in board.pins.items():
        if pin in facts.not_for:
            draft.fault(
                "board.pins", role, f"pin {pin} of the {facts.title} is taken: {facts.not_for[pin]}; take another"
            )
        elif pin not in facts.pins:
            draft.fault("board.pins", role, f"the {facts.title} has no pin {pin}; it has {facts.pins_text()}")
        elif pin in facts.input_only and BY_NAME[role].way == OUT:
            draft.fault("board.pins", role, f"pin {pin} of the {facts.title} is an input and can drive nothing")


def _motor_pins(draft: Draft, board: BoardPins) -> None:
    for role in MOTOR_ROLES:
        why = board.facts.high_at_start.get(board.pins.get(role, -1))
        if why:
            draft.fault(
                "board.pins",
                role,
                f"pin {board.pins[role]} may turn the motor before a program runs ({why}); take another",
            )


def _inputs(draft: Draft, board: BoardPins) -> None:
    """Pins without a pull of their own need one outside, and the file must say that it is there."""
    for role, pin in board.pins.items():
        if pin in board.facts.input_only and BY_NAME[role].way == IN and board.pull(role) != "none":
            draft.fault(
                "board.pins",
                role,
                f'pin {pin} of the {board.facts.title} has no pull inside; fit one, and set pulls.{role} = "none"',
            )


def _levels(draft: Draft, board: BoardPins) -> None:
    """Voltages go to pins that read them, and act somewhere: high where the strand is caught, low where it is slack."""
    facts = board.facts
    for role in ROLES:
        pin = board.pins.get(role.name)
        if role.way != LEVEL or pin is None or pin not in facts.pins or pin in facts.not_for:
            continue
        if pin not in facts.levels:
            draft.fault(
                "board.pins", role.name, f"pin {pin} of the {facts.title} reads no voltage; {facts.levels_text()} do"
            )
        keys = [limit.key for limit in LIMITS if limit.role == role.name]
        if not any(board.numbers.get(key, 1) for key in keys):
            draft.fault("board.pins", role.name, f"it acts nowhere; give {' or '.join(keys)}")
    for limit in LIMITS:
        if board.numbers.get(limit.key) and limit.role not in board.pins:
            draft.fault("board", limit.key, f"{limit.role} has no pin; give it one, or leave this out")
    snag, slack = (board.numbers.get(limit.key) for limit in LIMITS)
    if snag and slack and slack >= snag:
        draft.fault("board", LIMITS[1].key, f"{slack} is not below {LIMITS[0].key}, {snag}; one of them always acts")


def _company(draft: Draft, board: BoardPins) -> None:
    for role in ROLES:
        if role.name in board.pins and role.needs and role.needs not in board.pins:
            draft.fault("board.pins", role.name, f"it is of no use without {role.needs}; give that a pin too")
    for place, names in (("active_low", board.active_low), ("pulls", board.pulls)):
        for name in names:
            if name not in board.pins:
                draft.fault("board", place, f"{name} has no pin; give it one, or leave it out here")


def _go(draft: Draft, board: BoardPins) -> None:
    """A go button whose open contact counts as pressed is pressed for ever, or once its wire breaks."""
    role = "go_button"
    low = role in board.active_low
    pull = board.pull(role)
    if role not in board.pins or pull == "none" or low == (pull == "up"):
        return
    mend = "take it out of active_low, or leave its pull out" if low else f'write active_low = ["{role}"]'
    draft.fault(
        "board",
        "active_low",
        f"{role} is pulled {pull} and acts at a {'low' if low else 'high'} level, so that an open contact counts as "
        f"pressed: for ever, or once its wire breaks; {mend}",
    )


def _roles_of(fitting: str) -> list[str]:
    """The roles that can do what a fitting does, its own first."""
    bit = code_of(CAPABILITIES, fitting)
    return [each.name for each in ROLES if each.capability == bit] + [
        each.role for each in LIMITS if each.capability == bit
    ]


def _is_there(fitting: str, board: BoardPins) -> bool:
    return bool(capabilities(board.pins, board.numbers) & code_of(CAPABILITIES, fitting))


def _fitted(draft: Draft, board: BoardPins) -> None:
    for position, fitting in enumerate(draft.get("machine", "fitted") or ()):
        if not _is_there(fitting, board):
            roles = " or ".join(_roles_of(fitting))
            draft.fault(
                "machine", f"fitted[{position}]", f"{fitting} has no pin; give {roles} one in [board.pins], or leave it"
            )


def _drive(draft: Draft, board: BoardPins) -> None:
    drive = draft.get("machine", "drive")
    wanted = _OF_DRIVE.get(drive, ())
    if wanted and not set(wanted) & set(board.pins):
        draft.fault("board.pins", " or ".join(wanted), f"no pin; a machine with drive {drive} needs it")
    needed = ["sensor_a", *(["sensor_b"] if draft.get("machine", "sensor") == "quadrature" else [])]
    for role in needed:
        if role not in board.pins:
            draft.fault("board.pins", role, f"no pin; {BY_NAME[role].about}, without which this machine cannot wind")
    if draft.get("machine", "sensor") == "single" and "sensor_b" in board.pins:
        # the board counts back with two channels, which a job for one takes for a sensor that lies
        draft.fault(
            "machine", "sensor", 'it is "single", but sensor_b has a pin; set it to "quadrature", or leave that pin out'
        )


def _not_watched(draft: Draft, board: BoardPins) -> Iterator[str]:
    fitted = draft.get("machine", "fitted")
    for fitting in get_args(Fitting):
        if fitted is not None and _is_there(fitting, board) and fitting not in fitted:
            role = next(each for each in _roles_of(fitting) if each in board.pins)
            yield (
                f'{role} has a pin, but machine.fitted does not name "{fitting}": no job of this machine will heed it.'
            )


def _dead_when_broken(board: BoardPins) -> Iterator[str]:
    for role in ("stop_button", "guard"):
        # where the board has no pull the wiring pulls up
        if role in board.pins and (role in board.active_low) == (board.pull(role) != "down"):
            act = "pressed" if role == "stop_button" else "open"
            yield (
                f"{role} closes its contact when it is {act}: a broken wire leaves it dead. Better a contact to ground "
                f"that opens when it is {act}, pulled up, and no active_low: then a broken wire stops the winder."
            )


def _outside(board: BoardPins) -> Iterator[str]:
    """What the wires and resistors outside must do, where a file says that the board does not."""
    for role in [each.name for each in ROLES if each.way == IN and each.name not in COUNTED]:
        if role in board.pins and board.pull(role) == "down":
            yield f"{role} is pulled down: its contact must join the pin to 3.3 V, never to 5 V, and not to ground."
    if "go_button" in board.pins and board.pull("go_button") == "none":
        idle = "3.3 V" if "go_button" in board.active_low else "ground"
        yield f"go_button has no pull: fit a resistor to {idle}, or a broken wire may start the spool."


def _of_board(draft: Draft, board: BoardPins) -> Iterator[str]:
    facts = board.facts
    if draft.get("machine", "sensor") == "single" and board.numbers.get("debounce_us", 0) > facts.longest_window_us:
        yield (
            f"debounce_us: the counter of the {facts.title} takes no more than {facts.longest_window_us} us; a sensor "
            "that bounces longer needs a filter of resistor and capacitor, or a second channel."
        )
    motor = [f"{role} (pin {board.pins[role]})" for role in MOTOR_ROLES if role in board.pins]
    if facts.motor_note and motor:
        yield f"{', '.join(motor)}: {facts.motor_note}."
    inputs = [role for role in board.pins if BY_NAME[role].way == IN]
    for role in inputs:
        pin = board.pins[role]
        if pin in facts.input_note:
            yield f"{role} (pin {pin}): {facts.input_note[pin]}."
    low = [role for role in inputs if board.pull(role) == "down"]
    if facts.pulled_down and low:
        yield f"{', '.join(low)}: {facts.pulled_down}."


_CHECKS = (
    _inputs,
    _levels,
    _company,
    _go,
    _fitted,
    _drive,
    check_counting,
)
