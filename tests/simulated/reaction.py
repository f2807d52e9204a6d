"""How long the simulated winder takes from a fault to a motor that is off, with the machine's truth as the clock."""

from __future__ import annotations

import math
import random
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import evolve

from boards.simulated import SimulatedBoard
from reelwright.simulator.spec import SimulatorOptions
from simulated.random_jobs import random_job, task
from simulated.test_simulated_board import FakePort
from windcore.job import Job
from windcore.protections import BUDGET_MS
from windcore.session import Session
from windcore.signals import Inputs, Outputs
from windcore.speed import LONG_PROOF_MS, PROOF_MS, PROOF_PULSES
from windcore.steps import FRESH_MS
from windcore.ticks import LEASE_MS, LOOP_MS
from windlink import codes, sentences
from windlink.job import JOB_FIELDS, POSITION

if TYPE_CHECKING:
    from collections.abc import Callable

TURN = 2 * math.pi
FIRST_LINE_MS = 20  # of the simulated board: from a restarted interpreter to the first statement of boot.py
SWITCHES = ("run_out_switch", "tension_switch", "guard_switch", "stop_button", "go_button")
# where the spool goes on for so long that the strand may run out before
NO_SWITCHES = {"fitted": ()}
WHEEL = {"fitted": (*SWITCHES, "measuring_wheel")}


class Case(NamedTuple):
    """A trip, and how it is brought about. needs_ms: what the condition itself needs, from the run's own figures."""

    name: str
    reason: int
    fault: str
    begins: Callable[[Run], bool]
    needs_ms: Callable[[Run], float]
    machine: dict[str, Any] = {}  # noqa: RUF012 - only read
    drives: tuple[str, ...] = ("dc", "stepper")
    values: dict[str, int] = {}  # noqa: RUF012 - of the job, in place of the planned ones


class Reaction(NamedTuple):
    """Milliseconds of virtual time: from the condition to the motor off, and what was allowed for it."""

    took_ms: int
    allowed_ms: float


class Run:
    """One job on one simulated board under the real session, until the trip."""

    def __init__(self, case: Case, seed: int) -> None:
        draw = random.Random(f"{case.name} {seed}")
        drive = draw.choice(case.drives)
        job = random_job(draw, drive, case.machine.get("sensor", "single"))
        machine = evolve(
            job.machine,
            **{
                "fitted": SWITCHES,
                # with fewer, a drive at its full speed is not so fast that its pulses could tell
                "pulses_per_turn": draw.choice((20, 60, 180, 600)),
                "measuring_wheel_mm_per_pulse": draw.choice((0.5, 2.5, 10.0)),
                "on_link_loss": "trip",
                "phase_turns": None,
                **case.machine,
            },
        )
        job = evolve(job, machine=machine, target=evolve(job.target, pause_every_layer=False))
        turns = float(job.target.turns or 0)
        at = draw.uniform(0.2, 0.6) * turns
        given = task(
            job, SimulatorOptions(seed=draw.randrange(1 << 30), faults=((case.fault, at),) if case.fault else ())
        )
        for name, value in case.values.items():
            given["values"][POSITION[name]] = value
        self.case = case
        self.values = {field.name: value for field, value in zip(JOB_FIELDS, given["values"], strict=False)}
        self.board = SimulatedBoard({**given["spec"], "pace": 9999, "truth_path": "", "tcp_port": 0}, FakePort())
        self.plant = self.board.plant
        self.pulses_per_turn = float(plan_pulses(given))
        self.session = Session()
        self.highest = 0
        self.began_ms = -1
        self.off_ms = -1
        self.slowest = math.inf  # radians a second, since the condition began
        self.pulse_ms = 0
        self._given = given["values"]
        self._plant_step = self.plant.step
        self.plant.step = self._step

    def to_trip(self) -> Reaction:
        """Run the loop until the session has tripped. Raises AssertionError when it trips otherwise, or never."""
        board, inputs, outputs = self.board, Inputs(), Outputs()
        refused = 0
        for step in range(60000):
            board.read(inputs)
            inputs.silent_ms = board._elapsed_ms - self.began_ms if self.plant.faults.link_silent else 0
            self.session.step(inputs, outputs, board.now_ms())
            board.apply(outputs)
            board.feed()
            if step == 0:
                refused = self.session.accept(Job(1, "", self._given)) or self.session.start()
            if not self.case.fault and self.session.motion.arrived:
                self.plant.faults.runaway = True
            if self.session.state == codes.TRIPPED and self.off_ms >= 0:
                break
            if not board.wait() and board.starts_again():
                self.session = Session(board.identity.cause)
        assert not refused, refused
        reason = self.session.trip_reason
        assert reason == self.case.reason, (self.case.name, sentences.TRIPS.get(reason), self.values)
        return Reaction(self.off_ms - self.began_ms, BUDGET_MS + self.case.needs_ms(self))

    def _step(self, duty: int, brake: int, step_rate: int, lamp: int) -> None:
        elapsed_ms = self.board._elapsed_ms
        if self.began_ms >= 0 and self.off_ms < 0:
            tripped = self.case.fault or self.session.state == codes.TRIPPED
            if not duty and not step_rate and tripped:
                self.off_ms = elapsed_ms
        self._plant_step(duty, brake, step_rate, lamp)
        self.highest = max(self.highest, self.plant.pulses)
        if self.began_ms < 0 and self.session.state in (codes.WINDING, codes.EASING) and self.case.begins(self):
            self.began_ms = elapsed_ms
            self.pulse_ms = self.session.motion.pulse_ms()
        if self.began_ms >= 0 and self.off_ms < 0:
            self.slowest = min(self.slowest, self.plant.speed)


def plan_pulses(given: dict[str, Any]) -> float:
    """Pulses in a turn of the spool."""
    numerator, denominator = given["spec"]["machine"]["pulses_per_spool_turn"]
    return float(numerator / denominator)


def _fault(kind: str) -> Callable[[Run], bool]:
    return lambda run: bool(getattr(run.plant.faults, kind))


def _switch(bit: int) -> Callable[[Run], bool]:
    return lambda run: bool(run.plant.switches & bit)


def _nothing(_: Run) -> float:
    return 0.0


def _silence_ms(run: Run) -> float:
    return min(90000, run.values["no_pulses_ms"] + 4 * run.pulse_ms)


def _too_fast(run: Run) -> bool:
    return run.plant.speed / TURN * run.pulses_per_turn > run.values["highest_rate"] / 100


def _past_the_stop(run: Run) -> bool:
    motion = run.session.motion
    return motion.arrived and run.plant.pulses - motion.halt > run.values["overrun_pulses"]


def _proof_ms(run: Run) -> float:
    # the rate is taken over whole windows, and the one in which the spool became too fast proves nothing
    rate = run.values["highest_rate"] / 100
    window_ms = PROOF_MS if rate * PROOF_MS >= 1000 * PROOF_PULSES else max(LONG_PROOF_MS, 1000 / rate)
    return 2 * (window_ms + 1000 / rate)


def _deviation_ms(run: Run, share: float) -> float:
    """Until wheel and shaft, which differ by this share of the strand, differ by more than is allowed."""
    values = run.values
    allowed_share = values["slip_permille"] / 1000 + 16 * values["slip_slack"] / values["wheel_first"]
    # a window that ends on the way starts the comparison afresh
    pulses = 2 * allowed_share / share * values["slip_window_pulses"] + 1
    return pulses / run.pulses_per_turn * TURN / run.slowest * 1000


def _lag_ms(run: Run) -> float:
    """Until a shaft that makes a third of its steps lags by more than is allowed, and one more of its pulses comes."""
    turned_a_s = run.slowest / TURN * run.pulses_per_turn
    # it lags by twice what it turns; a window that ends on the way starts the comparison afresh
    return 2 * ((run.values["lag_pulses"] + 1) / 2 / turned_a_s * 1000 + 1.5 * FRESH_MS) + 2000 / turned_a_s


CASES = (
    Case("no_pulses", codes.NO_PULSES, "sensor_dead", _fault("sensor_dead"), _silence_ms, NO_SWITCHES),
    Case(
        "no_pulses, the motor's wire off",
        codes.NO_PULSES,
        "motor_dead",
        lambda run: run.plant.faults.motor_dead and run.plant.speed == 0.0,
        _silence_ms,
        NO_SWITCHES,
        values={"lag_pulses": 0},  # or a stepper that coasts for some pulses more may trip by their lag
    ),
    Case(
        "backwards",
        codes.BACKWARDS,
        "swapped_leads",
        lambda run: run.highest - run.plant.pulses > run.values["backwards_pulses"],
        _nothing,
        {"sensor": "quadrature", "ratchet": False},
        ("dc",),
    ),
    Case("overspeed", codes.OVERSPEED, "runaway", _too_fast, _proof_ms, drives=("dc",)),
    Case("run_out", codes.RUN_OUT, "run_out", _switch(codes.RUN_OUT_SWITCH), _nothing),
    Case("snag", codes.SNAG, "snag", _switch(codes.TENSION_SWITCH), _nothing),
    Case("stop_pressed", codes.STOP_PRESSED, "stop_pressed", _switch(codes.STOP_BUTTON), _nothing),
    Case("guard_open", codes.GUARD_OPEN, "guard_open", _switch(codes.GUARD_SWITCH), _nothing),
    Case(
        "link_lost",
        codes.LINK_LOST,
        "link_silent",
        _fault("link_silent"),
        lambda run: run.values["link_loss_ms"],
        {"link_loss_s": 2},
    ),
    Case("late_loop", codes.LATE_LOOP, "hitch", _fault("hitch"), lambda _: LEASE_MS),
    Case("restarted: watchdog", codes.RESTARTED, "hang", _fault("hang"), lambda _: LEASE_MS),
    Case("restarted: soft_reset", codes.RESTARTED, "soft_reset", _fault("soft_reset"), lambda _: FIRST_LINE_MS),
    Case("restarted: power_dip", codes.RESTARTED, "power_dip", _fault("power_dip"), _nothing),
    Case(
        "runs_on",
        codes.RUNS_ON,
        "",
        _past_the_stop,
        _nothing,
        NO_SWITCHES,
        ("dc",),
        {"highest_rate": 2000000},
    ),
    Case(
        "runs_on, a pulse a turn",
        codes.RUNS_ON,
        "",
        _past_the_stop,
        _nothing,
        {**NO_SWITCHES, "pulses_per_turn": 1},
        ("dc",),
        {"highest_rate": 2000000},
    ),
    Case("slip", codes.SLIP, "slip", _fault("slip"), lambda run: _deviation_ms(run, 0.5), WHEEL),
    Case("lost_steps", codes.LOST_STEPS, "lost_steps", _fault("lost_steps"), _lag_ms, NO_SWITCHES, ("stepper",)),
    Case(
        "bad_sensor, wheel turns on",
        codes.BAD_SENSOR,
        "sensor_dead",
        _fault("sensor_dead"),
        lambda run: _deviation_ms(run, 1.0),
        WHEEL,
        values={"no_pulses_ms": 60000},  # or a slow spool's silence would come first
    ),
    Case(
        "bad_sensor, one channel",
        codes.BAD_SENSOR,
        "sensor_noise",
        _fault("sensor_noise"),
        _nothing,
        {"pulses_per_turn": 20},
    ),
    Case(
        "bad_sensor, two channels",
        codes.BAD_SENSOR,
        "sensor_noise",
        _fault("sensor_noise"),
        lambda _: 4 * LOOP_MS,  # one illegal transition a step at the least
        {"sensor": "quadrature"},
    ),
)
