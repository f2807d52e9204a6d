"""The motor test: the job that it makes, when it refuses, what it reports."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import attrs
import pytest
from rig import job_list

from cable import Cable, client_on
from reelwright.condition import MotorResult
from reelwright.device.job_values import job_values
from reelwright.errors import DeviceError, UsageError
from reelwright.ledger import open_ledger
from reelwright.operation.motor_test import TURNS, MotorTest, judge_motor, motor_job
from reelwright.operation.sensor_test import SensorTest
from reelwright.operation.wind import Interrupts
from reelwright.profiles import load_part, profile_names
from reelwright.winding.job import Machine
from reelwright.winding.plan import make_plan
from windcore.journal import Past
from windlink import codes
from windlink.job import JOB_FIELDS

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from reelwright.ledger import Ledger


def machine(**changes: Any) -> Machine:
    return Machine(**{"pulses_per_turn": 20, "turns_per_layer": Fraction(20), **changes})


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with open_ledger(tmp_path / "ledger.sqlite3") as opened:
        yield opened


MOTORS = [name for name in profile_names("machine") if load_part("machine", name).drive != "hand"]


@pytest.mark.parametrize("name", MOTORS)
def test_every_machine_with_a_motor_gets_a_slow_short_job_with_its_trips_armed(name: str) -> None:
    whole: Machine = load_part("machine", name)
    job = motor_job(whole)
    plan = make_plan(job)
    told = dict(zip([field.name for field in JOB_FIELDS], job_values(job, plan), strict=False))
    assert plan.cruise_rpm <= min(30, whole.max_spool_rpm)
    assert plan.target_pulses == round(TURNS * whole.pulses_per_spool_turn)
    assert plan.stops == ()
    assert (
        told["highest_rate"]
        == dict(
            zip([field.name for field in JOB_FIELDS], job_values(attrs.evolve(job, machine=whole), plan), strict=False)
        )["highest_rate"]
    )
    assert told["link_loss"] == codes.PAUSE
    assert told["link_loss_ms"] <= 2000
    for word, bit in (("stop_button", codes.STOP_BUTTON), ("guard_switch", codes.GUARD_SWITCH)):
        assert bool(told["fitted"] & bit) == (word in whole.fitted)


def test_what_watches_strand_is_left_out_and_a_guide_in_mid_layer_is_no_matter() -> None:
    fitted = ("stop_button", "guard_switch", "run_out_switch", "tension_switch", "measuring_wheel")
    job = motor_job(machine(fitted=fitted, measuring_wheel_mm_per_pulse=2.5, phase_turns=Fraction(3)))
    assert job.machine.fitted == ("stop_button", "guard_switch", "tension_switch")
    assert job.machine.measuring_wheel_mm_per_pulse is None
    assert job.machine.phase_turns is None


def test_a_hand_driven_machine_has_no_motor_to_test() -> None:
    with pytest.raises(UsageError, match="no motor"):
        motor_job(machine(drive="hand"))


def verdicts_of(cable: Cable, ledger: Ledger, of: Machine, interrupts: Interrupts | None = None) -> list[str]:
    client = client_on(cable)
    client.hello()
    test = MotorTest(of, client, ledger, clock=cable.clock)
    return [each.code for each in judge_motor(test.run(interrupts or Interrupts()), test.plan)]


def test_a_motor_that_obeys_is_right_and_leaves_no_wind_in_the_ledger(ledger: Ledger) -> None:
    cable = Cable()
    assert verdicts_of(cable, ledger, machine()) == ["motor_right", "direction_unseen"]
    assert cable.rig.session.count in (100, 101)
    assert ledger.winds() == []


def test_a_spool_that_stands_trips(ledger: Ledger) -> None:
    cable = Cable()
    cable.rig.stuck = True
    assert verdicts_of(cable, ledger, machine()) == ["motor_tripped"]
    assert cable.rig.session.trip_reason == codes.NO_PULSES
    assert cable.rig.session.state == codes.TRIPPED


def test_ctrl_c_brings_the_spool_to_rest(ledger: Ledger) -> None:
    cable = Cable()
    interrupts = Interrupts()
    interrupts.count = 1
    assert verdicts_of(cable, ledger, machine(), interrupts) == ["motor_stopped"]
    assert cable.rig.session.state == codes.FINISHED
    assert cable.rig.session.count < 100


def test_a_cable_that_fails_for_a_while_pauses_the_test_and_it_is_over_then(ledger: Ledger) -> None:
    class Gap(Cable):
        """Nothing gets through for four seconds."""

        def _period(self) -> None:
            self.deaf = self.mute = 3 < self.clock() < 7
            self.rig.inputs.silent_ms = self.service.silent_ms(self.rig.now_ms)
            super()._period()

    cable = Gap()
    assert verdicts_of(cable, ledger, machine()) == ["motor_link_silent"]
    assert cable.rig.session.state == codes.FINISHED
    assert cable.rig.session.count < 100


@pytest.mark.parametrize("state", [codes.LOADED, codes.WINDING, codes.TRIPPED])
def test_a_winder_with_a_job_in_hand_is_not_tested(state: int, ledger: Ledger) -> None:
    cable = Cable()
    client = client_on(cable)
    client.load(77, job_list())
    if state != codes.LOADED:
        client.request("start", 77)
    if state == codes.TRIPPED:
        cable.rig.inputs.switches = codes.STOP_BUTTON
        client.listen(0.1)
    before = cable.rig.session.count
    with pytest.raises(DeviceError, match="belongs to a job"):
        MotorTest(machine(), client, ledger, clock=cable.clock)
    assert cable.rig.session.job.job_id == 77
    assert cable.rig.session.count >= before


def test_a_wind_whose_end_is_not_recorded_yet_is_not_pushed_out(ledger: Ledger) -> None:
    cable = Cable()
    client = client_on(cable)
    client.load(77, job_list(stops=(), target_pulses=100))
    client.request("start", 77)
    cable.rig.until(codes.FINISHED)
    ledger.open_wind(77, job={}, plan={}, port="p", board="b", firmware="f", protocol="1.0", boot=1)
    with pytest.raises(DeviceError, match="not in the ledger yet"):
        MotorTest(machine(), client, ledger, clock=cable.clock)


def test_a_winder_that_was_loaded_while_the_operator_thought_is_not_tested(ledger: Ledger) -> None:
    cable = Cable()
    client = client_on(cable)
    test = MotorTest(machine(), client, ledger, clock=cable.clock)
    client.load(77, job_list())
    with pytest.raises(DeviceError, match="loaded"):
        test.run(Interrupts())
    assert cable.rig.session.state == codes.LOADED


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({}, ["motor_right"]),
        ({"pulses": 1201}, ["motor_right"]),
        ({"pulses": 1203}, ["motor_overran"]),
        ({"pulses": 1100}, ["motor_short"]),
        ({"fastest_rpm": 20.0, "resolution_rpm": 5.0}, ["motor_right"]),  # it may be 25 as well, of 30
        ({"fastest_rpm": 20.0}, ["motor_slow"]),
        ({"pulses": 1203, "fastest_rpm": 20.0}, ["motor_overran", "motor_slow"]),
        ({"state": codes.WAITING, "pulses": 300}, ["motor_link_silent"]),
        ({"stopped": True, "pulses": 300}, ["motor_stopped"]),
        ({"trip": 2, "trip_word": "backwards", "stopped": True}, ["motor_tripped"]),
    ],
)
def test_each_way_that_the_test_may_end_has_its_verdict(changes: dict[str, Any], found: list[str]) -> None:
    plan = make_plan(motor_job(machine(pulses_per_turn=240, sensor="quadrature")))
    well = MotorResult(1200, 1200, fastest_rpm=30.0, rest_s=0.4, state=codes.FINISHED)
    assert plan.target_pulses == 1200
    assert [each.code for each in judge_motor(attrs.evolve(well, **changes), plan)] == found


def test_a_winder_that_remembers_a_job_is_not_tested(ledger: Ledger) -> None:
    cable = Cable()
    cable.rig.session.past = Past(77, 40, 0, codes.WAITING, 0, codes.FROM_REGISTERS, 320, "")
    client = client_on(cable)
    with pytest.raises(DeviceError, match="remembers job 77"):
        MotorTest(machine(), client, ledger, clock=cable.clock)
    with pytest.raises(DeviceError, match="remembers job 77"):
        SensorTest(client, 20, print, clock=cable.clock).run(1)
