"""The motor is off at the end of every path: the pin, the lease, the watchdog, the first statement of the firmware."""

from __future__ import annotations

import ast
import builtins
import itertools
import runpy
import sys
import types
from typing import TYPE_CHECKING, Any

import pytest

from boards.motor_pins import MOTOR_PINS, let_go
from boards.simulated_pin import PERIOD_US, PwmPin
from interpreters import FIRMWARE, both, run_script
from simulated.test_simulated_board import board, full_drive
from windcore.loop import run
from windcore.signals import Outputs
from windcore.ticks import LEASE_MS, LOOP_MS, WATCHDOG_MS
from windlink import codes

if TYPE_CHECKING:
    from collections.abc import Callable

    from boards.simulated import SimulatedBoard

STEPS: dict[str, Callable[[PwmPin], None]] = {
    "duty 0": lambda pin: pin.duty_u16(0),
    "wait": lambda pin: pin.wait_us(2 * PERIOD_US),
    "release": lambda pin: pin.deinit(),
    "low": lambda pin: pin.low(),
}
IN_ORDER = tuple(STEPS)
PHASES_US = range(0, PERIOD_US, 2)


def driven_pin(phase_us: int, number: int = 16) -> PwmPin:
    """A pin at 69 % of full, `phase_us` into its period."""
    pin = PwmPin(number)
    pin.pwm()
    pin.duty_u16(45000)
    pin.wait_us(PERIOD_US + phase_us)
    assert pin.output_permille() == 687
    return pin


def runs_on(steps: tuple[str, ...]) -> bool:
    """Whether the motor still gets current two periods after these steps, at any phase of the pin."""
    left = set()
    for phase_us in PHASES_US:
        pin = driven_pin(phase_us)
        for step in steps:
            STEPS[step](pin)
        pin.wait_us(2 * PERIOD_US)
        left.add(pin.output_permille())
    return left != {0}


# --- the pin -----------------------------------------------------------------------------------------------


def test_a_release_keeps_the_level_of_its_moment_and_a_soft_reset_does_not_turn_the_motor_off() -> None:
    frozen = []
    for phase_us in PHASES_US:
        pin = driven_pin(phase_us)
        pin.deinit()
        pin.wait_us(1000)
        frozen.append(pin.output_permille())
        pin = driven_pin(phase_us)
        pin.soft_reset()
        assert pin.output_permille() == frozen[-1]
    assert 0.6 < frozen.count(1000) / len(frozen) < 0.8  # as often as it was high: 69 %
    assert set(frozen) == {0, 1000}
    pin = driven_pin(0, number=9)
    pin.soft_reset()
    assert pin.output_permille() == 687
    pin.chip_reset()
    assert pin.output_permille() == 0


def test_the_order_in_which_a_drive_ends_is_safe_at_every_cut_and_few_others_are() -> None:
    # an exception or a reset may come after any step, so an order is only as safe as what each of its starts leaves
    safe, unsafe = [], []
    for order in itertools.permutations(STEPS):
        starts = [order[:length] for length in range(1, 5)]
        (unsafe if any(runs_on(start) for start in starts) else safe).append(order)
    print(f"orders of the four steps: {len(safe)} safe at every cut and phase, {len(unsafe)} that run on")
    for order in safe:
        print("  safe:", ", ".join(order))
    assert IN_ORDER in safe
    for order in unsafe:
        # what they have in common: the pin is let go, or the motor waited for, before anything has turned it off
        assert order[0] in ("wait", "release") or order.index("release") < min(order.index("wait"), order.index("low"))
    for order in safe:
        assert order[0] in ("duty 0", "low")


@pytest.mark.parametrize(
    "steps",
    [("release",), ("wait", "release"), ("duty 0", "release"), ("release", "wait"), ("wait",)],
    ids=", ".join,
)
def test_a_drive_that_is_ended_by_half_runs_on(steps: tuple[str, ...]) -> None:
    assert runs_on(steps)


def test_the_one_function_that_ends_a_drive_takes_the_safe_order() -> None:
    done: list[tuple[str, int]] = []
    pwm: Any = types.SimpleNamespace(
        duty_u16=lambda duty: done.append(("duty 0", duty)), deinit=lambda: done.append(("release", 0))
    )
    let_go(pwm, lambda: done.append(("low", 0)), lambda time_us: done.append(("wait", time_us)), PERIOD_US)
    assert done == [("duty 0", 0), ("wait", 2 * PERIOD_US), ("release", 0), ("low", 0)]


@pytest.mark.parametrize("broken", ["duty_u16", "deinit"])
def test_the_pin_is_low_even_when_a_step_before_it_fails(broken: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        raise RuntimeError

    pin = driven_pin(0)
    monkeypatch.setattr(pin, broken, fail)
    with pytest.raises(RuntimeError):
        let_go(pin, pin.low, pin.wait_us, PERIOD_US)
    assert pin.output_permille() == 0


# --- the first statement -----------------------------------------------------------------------------------


def test_the_first_statement_of_the_firmware_makes_the_motor_safe_before_anything_is_loaded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    boot = FIRMWARE / "boot.py"
    statements = [node for node in ast.parse(boot.read_text()).body if not isinstance(node, ast.Import)]
    assert ast.get_docstring(ast.parse(boot.read_text()))
    # the docstring, a flag, the call for as long as Ctrl-C cuts it short, and what Ctrl-C then does
    assert [type(each) for each in statements] == [ast.Expr, ast.Assign, ast.While, ast.If]
    for platform, pins in MOTOR_PINS.items():
        done: list[object] = []

        class Pin:
            OUT = "out"

            def __init__(self, number: int, mode: str, value: int, done: list[object] = done) -> None:
                done.append((number, mode, value))

        real_import = builtins.__import__

        def noted(
            name: str, *rest: Any, done: list[object] = done, real: Callable[..., Any] = real_import
        ) -> types.ModuleType:
            done.append(name)
            return real(name, *rest)

        with monkeypatch.context() as on_board:
            on_board.setitem(sys.modules, "machine", types.SimpleNamespace(Pin=Pin))
            on_board.delitem(sys.modules, "boards.motor_pins", raising=False)
            on_board.setattr(sys, "platform", platform)
            code = compile(boot.read_text(), str(boot), "exec")
            on_board.setattr(builtins, "__import__", noted)
            exec(code, {"__name__": "__main__"})  # noqa: S102 - as a board runs it
        writes = [(number, "out", 0) for number in pins]
        # but for what CPython itself loads in order to load a file
        done = [item for item in done if not str(item).startswith("_")]
        assert done == ["boards.motor_pins", "sys", "machine", *writes]


@both
def test_the_first_statement_does_no_harm_on_a_desktop(interpreter: tuple[str, ...]) -> None:
    assert run_script(interpreter, FIRMWARE / "boot.py") == ""
    runpy.run_path(str(FIRMWARE / "boot.py"))


# --- lease and watchdog ------------------------------------------------------------------------------------


def driven_after_fault_ms(kind: str) -> tuple[SimulatedBoard, int, int]:
    """A driven board that meets a fault: how long the motor was driven after the strike, and how long it stood off
    until the program had the word again, or began anew."""
    winder, _ = board(faults=[[kind, 3.0]])
    outputs = full_drive()
    after: list[bool] = []
    plant_step = winder.plant.step

    def step(duty: int, brake: int, step_rate: int, lamp: int) -> None:
        if after or getattr(winder.plant.faults, kind):
            after.append(bool(duty or step_rate))
        plant_step(duty, brake, step_rate, lamp)

    winder.plant.step = step
    while not after:
        winder.apply(outputs)
        winder.feed()
        if not winder.wait():
            break
        assert winder.plant.turns < 4.0
    driven = after.count(True)
    assert after == [True] * driven + [False] * (len(after) - driven), "the motor came on again"
    return winder, driven * LOOP_MS, (len(after) - driven) * LOOP_MS


def test_a_loop_that_stands_still_loses_its_lease_and_the_motor() -> None:
    winder, driven_ms, off_ms = driven_after_fault_ms("hitch")
    assert driven_ms <= LEASE_MS
    assert driven_ms + off_ms == pytest.approx(200, abs=LOOP_MS)
    assert winder.motor() == "off"
    assert winder.wait()  # the board itself goes on
    assert not winder.starts_again()


def test_the_lease_is_renewed_by_apply_alone() -> None:
    winder, _ = board()
    for _ in range(50):
        winder.apply(full_drive())
        winder.wait()
    for _ in range(1, LEASE_MS // LOOP_MS):
        assert winder.motor() == "drive"
        winder.feed()
        winder.receive(bytearray(8))
        winder.wait()
    assert winder.motor() == "off"
    for _ in range(2):
        winder.apply(full_drive())
        winder.wait()
    assert winder.motor() == "drive"


@pytest.mark.parametrize(
    ("kind", "cause", "most_driven_ms", "least_off_ms"),
    [
        ("hang", codes.WATCHDOG, LEASE_MS, WATCHDOG_MS - LEASE_MS),
        ("soft_reset", codes.SOFT_RESET, 20, 300),  # driven until the first statement of boot.py
        ("power_dip", codes.POWER_DIP, 0, 390),
        ("power_cut", codes.POWER_ON, 0, 2290),
    ],
)
def test_whatever_restarts_the_board_ends_the_drive_and_is_told(
    kind: str, cause: int, most_driven_ms: int, least_off_ms: int
) -> None:
    winder, driven_ms, off_ms = driven_after_fault_ms(kind)
    assert driven_ms <= most_driven_ms
    assert off_ms >= least_off_ms
    boot = winder.identity.boot
    assert winder.starts_again()
    assert winder.identity.cause == cause
    assert winder.identity.boot != boot
    for _ in range(300):
        winder.apply(Outputs())
        winder.feed()
        assert winder.wait()
    assert winder.motor() == "off"
    assert winder.plant.speed == 0.0
    assert not winder.starts_again()


def test_a_motor_whose_pin_nobody_makes_safe_runs_on_over_a_soft_reset(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(PwmPin, "low", lambda _: None)
    driven = set()
    for tenths in range(12):
        winder, _ = board(faults=[["soft_reset", 1.0 + tenths / 10]])
        while winder.wait():
            winder.apply(full_drive())
            winder.feed()
        driven.add(winder.motor())
    assert driven == {"drive", "off"}  # frozen, high or low as it happened


def test_each_way_out_of_the_loop_turns_the_motor_off(monkeypatch: pytest.MonkeyPatch) -> None:
    for failure in (KeyboardInterrupt, MemoryError, OSError, ValueError):
        winder, _ = board()
        for _ in range(100):
            winder.apply(full_drive())
            winder.wait()

        def broken(_: object, failure: type[BaseException] = failure) -> None:
            raise failure

        monkeypatch.setattr(winder, "read", broken)
        assert winder.motor() == "drive"
        with pytest.raises(failure):
            run(winder)
        assert winder.motor() == "off"
        for _ in range(300):
            winder.wait()
        assert winder.plant.speed == 0.0


def test_the_watchdog_is_fed_at_the_end_of_a_good_pass_and_nowhere_else() -> None:
    calls = [
        (path.name, node.lineno)
        for path in (FIRMWARE / "windcore").glob("*.py")
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "feed"
        if isinstance(node.func.value, ast.Name) and node.func.value.id == "board"
    ]
    assert [name for name, _ in calls] == ["loop.py"]
    winder, _ = board()
    done: list[str] = []
    for name in ("read", "apply", "receive", "feed", "wait"):
        act = getattr(winder, name)

        def noted(*values: Any, name: str = name, act: Callable[..., Any] = act) -> Any:
            done.append(name)
            result = act(*values)
            return False if name == "wait" and done.count("wait") == 3 else result

        setattr(winder, name, noted)
    run(winder)
    assert done == ["read", "apply", "receive", "feed", "wait"] * 3
