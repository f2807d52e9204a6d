"""Whether a board can count and step as fast as its machine turns, and has counters enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from reelwright.device.job_values import OVERSPEED_MARGIN
from windlink.job import HIGHEST_RATE, MOST_STEPS_S
from windlink.pins import KEYS, LOOKS_US, highest_rate

if TYPE_CHECKING:
    from reelwright.machines.machine_file import BoardPins
    from reelwright.profiles.draft import Draft

_SHORTEST_WINDOW_US = {key.name: key.lowest for key in KEYS if key.name.endswith("debounce_us")}


@frozen
class StateMachine:
    """What asks for a state machine: a role's pin, with its program's name and length.

    unless: a role whose pin asks for another program in its place.
    """

    role: str
    program: str
    instructions: int
    unless: str = ""


# A test holds the lengths to the firmware's programs.
STATE_MACHINES = (
    StateMachine("sensor_a", "count_pulses", 8, unless="sensor_b"),
    StateMachine("sensor_b", "count_quadrature", 10),
    StateMachine("wheel_a", "count_pulses", 8, unless="wheel_b"),
    StateMachine("wheel_b", "count_quadrature", 10),
    StateMachine("step", "make_steps", 5),
)


def check_counting(draft: Draft, board: BoardPins) -> None:
    """Note what is too fast for its counter or its steps, and counters that there are not."""
    _sensor_rate(draft, board)
    _wheel_rate(draft, board)
    _step_rate(draft)
    _room(draft, board)


def _sensor_rate(draft: Draft, board: BoardPins) -> None:
    top, pulses = draft.get("machine", "max_spool_rpm"), draft.get("machine", "pulses_per_turn")
    ratio = draft.get("machine", "shaft_turns_per_spool_turn")
    if not top or not pulses or not ratio:
        return
    rate = top * OVERSPEED_MARGIN / 60 * float(pulses * ratio)
    told = (
        f"at {top:g} rpm of the spool and {100 * (OVERSPEED_MARGIN - 1):.0f} % more it gives {rate:.0f} pulses a second"
    )
    if rate > HIGHEST_RATE / 100:
        draft.fault(
            "machine",
            "pulses_per_turn",
            f"{told}, the winder takes {HIGHEST_RATE // 100}; fit fewer pulses, or go slower",
        )
    # with two channels a bounce of one takes itself back, and needs no window
    elif draft.get("machine", "sensor") == "single":
        _window(draft, board, "debounce_us", rate, f"machine.pulses_per_turn: {told}")


def _wheel_rate(draft: Draft, board: BoardPins) -> None:
    speed, mm = draft.get("machine", "line_speed_m_s"), draft.get("machine", "measuring_wheel_mm_per_pulse")
    if speed and mm and "wheel_a" in board.pins and "wheel_b" not in board.pins:
        rate = 1000 * speed * OVERSPEED_MARGIN / mm
        told = f"the measuring wheel gives {rate:.0f} pulses a second at {speed:g} m/s"
        _window(draft, board, "wheel_debounce_us", rate, told)


def _window(draft: Draft, board: BoardPins, key: str, rate: float, told: str) -> None:
    asked_us = board.numbers.get(key)
    if asked_us is None:
        return
    window_us = min(asked_us, board.facts.longest_window_us)
    passed = highest_rate(window_us) / 100
    if rate <= passed:
        return
    fitting = int(1e6 / (2 * rate)) - LOOKS_US
    mend = f"set it to at most {fitting}" if fitting >= _SHORTEST_WINDOW_US[key] else "fit fewer pulses, or go slower"
    passes = f"a window of {window_us} us lets {passed:.0f} pulses a second pass"
    draft.fault("board", key, f"{passes}, but {told}; {mend}")


def _step_rate(draft: Draft) -> None:
    top, steps = draft.get("machine", "max_spool_rpm"), draft.get("machine", "steps_per_spool_turn")
    if draft.get("machine", "drive") == "stepper" and top and steps and top / 60 * float(steps) > MOST_STEPS_S:
        draft.fault(
            "machine",
            "steps_per_spool_turn",
            f"at {top:g} rpm it takes {top / 60 * float(steps):.0f} steps a second, the board gives {MOST_STEPS_S}; "
            "set the driver to fewer microsteps, or go slower",
        )


def _room(draft: Draft, board: BoardPins) -> None:
    """State machines and instructions in the one block of PIO that the firmware uses."""
    facts = board.facts
    if not facts.pio_machines:
        return
    wanted = [each for each in STATE_MACHINES if each.role in board.pins and each.unless not in board.pins]
    if len(wanted) > facts.pio_machines:
        draft.fault(
            "board",
            "pins",
            f"{len(wanted)} state machines are wanted in one PIO block, which has {facts.pio_machines}; leave out one "
            f"of {', '.join(each.role for each in wanted)}",
        )
    programs = {each.program: each.instructions for each in wanted}
    if sum(programs.values()) > facts.pio_instructions:
        draft.fault(
            "board",
            "pins",
            f"the programs {' and '.join(programs)} take {sum(programs.values())} instructions, a PIO block holds "
            f"{facts.pio_instructions}; give both shafts one channel, or both two",
        )
