"""The sensor test: what it waits for, what it counts, and what each count says of the sensor."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING, Any

import pytest
from rig import LOOP_MS, job_list

from cable import Cable, client_on
from reelwright.condition import SensorResult
from reelwright.errors import DeviceError
from reelwright.operation.sensor_test import SensorTest, judge_sensor
from reelwright.winding.job import Machine
from windlink import codes

if TYPE_CHECKING:
    from collections.abc import Iterator

PPR = 60
TURN = 30.1  # pulses a second for two seconds


def machine(**changes: Any) -> Machine:
    return Machine(**{"pulses_per_turn": PPR, "turns_per_layer": Fraction(20), **changes})


def codes_of(*turns: int, of: Machine | None = None, **more: Any) -> list[str]:
    return [each.code for each in judge_sensor(SensorResult(turns, **more), of or machine(sensor="quadrature"))]


@pytest.mark.parametrize(
    ("turns", "found"),
    [
        ((60, 60, 60), ["sensor_right"]),
        ((58, 62, 61), ["sensor_right"]),  # a hand is right within ten degrees, and an edge
        ((-60, -60, -61), ["sensor_backwards", "sensor_right"]),
        ((-30, -30, -30), ["sensor_backwards", "sensor_wrong_ppr"]),
        ((0,), ["sensor_silent"]),
        ((60, 60, 0), ["sensor_misses"]),
        ((51, 44, 49), ["sensor_misses"]),
        ((48, 48, 48), ["sensor_wrong_ppr"]),
        ((120, 119, 121), ["sensor_wrong_ppr"]),
        ((64, 88, 71), ["sensor_adds"]),
        ((48,), ["sensor_off_once"]),
    ],
)
def test_each_count_has_its_verdict(turns: tuple[int, ...], found: list[str]) -> None:
    assert codes_of(*turns) == found


@pytest.mark.parametrize(("counted", "fit"), [(30, 30), (120, 120), (240, 240), (61 * 3, 61 * 3), (7, 7)])
def test_a_steady_count_names_the_pulses_per_turn_that_fit(counted: int, fit: int) -> None:
    (found,) = judge_sensor(SensorResult((counted, counted, counted)), machine(sensor="quadrature"))
    assert found.code == "sensor_wrong_ppr"
    assert f"machine.pulses_per_turn = {fit}," in found.remedy
    assert ("times as many" in found.sentence) == (counted in (120, 240))
    assert ("misses the same ones" in found.sentence) == (counted == 7)


def test_the_fit_is_of_the_shaft_that_the_sensor_sits_on() -> None:
    geared = machine(sensor="quadrature", sensor_shaft="motor", shaft_turns_per_spool_turn=Fraction(5, 2))
    (found,) = judge_sensor(SensorResult((100, 100, 101)), geared)
    assert "machine.pulses_per_turn = 40," in found.remedy
    assert codes_of(150, 151, 150, of=geared) == ["sensor_right"]


def test_interference_outweighs_every_count_and_one_speck_of_dust_does_not() -> None:
    assert codes_of(60, 60, 60, stray=2) == ["sensor_noisy"]
    assert codes_of(60, 60, 60, illegal=4) == ["sensor_noisy"]
    assert codes_of(60, 60, 60, illegal=1) == ["sensor_right"]
    assert codes_of(restless=True) == ["sensor_restless"]
    assert codes_of(60, 61, restless=True, stray=8) == ["sensor_restless", "sensor_noisy"]


def test_one_channel_tells_no_direction() -> None:
    assert codes_of(60, 60, 60, of=machine()) == ["sensor_right", "direction_unseen"]


class Bench(Cable):
    """A winder whose spool is turned, or shaken, at planned times: (from, for how long, pulses a second)."""

    def __init__(self, *motions: tuple[float, float, float]) -> None:
        super().__init__()
        self.motions = motions
        self.rig.forced = 0.0

    def _period(self) -> None:
        now_s = self.clock()
        self.rig.forced = sum(rate for at, lasts, rate in self.motions if at <= now_s < at + lasts - LOOP_MS / 2000)
        super()._period()


def counted(bench: Cable, turns: int = 2) -> tuple[SensorResult, list[str]]:
    client = client_on(bench)
    client.hello()
    told: list[str] = []
    return SensorTest(client, PPR, told.append, clock=bench.clock).run(turns), told


def test_each_turn_is_asked_for_and_counted_by_itself() -> None:
    result, told = counted(Bench((10, 2, TURN), (20, 2, TURN)))
    assert (result.turns, result.stray, result.restless) == ((60, 60), 0, False)
    assert [line.split(":")[0] for line in told] == [
        "Let the spool stand.",
        "Turn 1 of 2",
        "Counted 60.",
        "Turn 2 of 2",
        "Counted 60.",
    ]


def test_a_turn_with_a_short_stop_in_it_is_one_turn() -> None:
    result, _ = counted(Bench((10, 1, TURN), (12, 1, TURN)), 1)
    assert result.turns == (60,)


def test_backward_turns_are_counted_below_zero_across_the_counters_wrap() -> None:
    result, _ = counted(Bench((10, 2, -TURN), (20, 2, -TURN)))
    assert result.turns == (-61, -60)  # the edge at the start is met again on the way back


def test_a_hand_that_comes_early_is_no_interference() -> None:
    result, _ = counted(Bench((1, 2, TURN), (12, 2, TURN), (20, 2, TURN)))
    assert (result.turns, result.stray) == ((60, 60), 0)


def test_a_few_pulses_at_rest_are() -> None:
    def blips() -> Iterator[tuple[float, float, float]]:
        yield (1.0, 0.1, 20)  # pulses at rest, before the first turn
        yield (3.5, 0.1, 20)
        yield (20, 2, TURN)

    result, _ = counted(Bench(*blips()), 1)
    assert 2 <= result.stray <= 6
    assert result.turns == (60,)


def test_a_sensor_that_never_rests_ends_the_test() -> None:
    result, told = counted(Bench((0, 1000, 3)), 3)
    assert (result.turns, result.restless) == ((), True)
    assert told == ["Let the spool stand."]


def test_a_turn_that_never_comes_ends_the_test_with_nothing_counted() -> None:
    bench = Bench((9, 2, TURN))
    result, _ = counted(bench, 3)
    assert result.turns == (60, 0)
    assert bench.clock() < 120


@pytest.mark.parametrize("state", [codes.LOADED, codes.WINDING, codes.WAITING, codes.TRIPPED])
def test_a_spool_that_belongs_to_a_job_is_not_tested(state: int) -> None:
    bench = Cable()
    client = client_on(bench)
    client.hello()
    client.load(77, job_list())
    if state != codes.LOADED:
        client.request("start", 77)
    if state == codes.WAITING:
        client.request("pause", 77)
        bench.rig.until(codes.WAITING)
    if state == codes.TRIPPED:
        bench.rig.inputs.switches = codes.STOP_BUTTON
    client.listen(0.1)
    assert bench.rig.session.state == state
    with pytest.raises(DeviceError, match="belongs to a job"):
        SensorTest(client, PPR, print, clock=bench.clock).run(1)
