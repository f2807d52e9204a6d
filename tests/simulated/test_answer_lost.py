"""A spool is set in motion, and nobody hears that it was: it is taken neither for empty nor for one at rest."""

from __future__ import annotations

from typing import Any

import pytest

from reelwright.device.client import Client, RefusedError
from reelwright.errors import EXIT_PAUSED, LinkLostError
from reelwright.operation.arrival import Arrival
from reelwright.operation.recorded import given_up
from reelwright.snapshot import WindResult
from simulated.lockstep import RESTART_PERIODS, HostBench, go_on_or_drop
from windlink import codes

TURNING_PERIODS = 600
HOW = pytest.mark.parametrize("how", ["link lost", "host killed"])


def unheard(bench: HostBench, monkeypatch: pytest.MonkeyPatch, verb: str, how: str) -> None:
    """A command whose host is gone (`how`: its link, or itself) once it has sent this request; the winder winds on."""
    request = Client.request

    def sent(client: Client, asked: str, *values: Any) -> dict[str, Any]:
        answer = request(client, asked, *values)
        if asked == verb:
            raise LinkLostError("No answer.", "") if how == "link lost" else SystemExit
        return answer

    before = bench.true_pulses
    with monkeypatch.context() as patch:
        patch.setattr(Client, "request", sent)
        with pytest.raises((LinkLostError, SystemExit)):
            bench.wind()
    bench.winder.pass_periods(TURNING_PERIODS)
    assert bench.true_pulses > before + 20


def loses_everything(bench: HostBench) -> None:
    """Power fails, and the winder's flash with it."""
    bench.winder.board.store._slots = [b"", b""]
    bench.winder.strike("power_cut")
    bench.winder.pass_periods(RESTART_PERIODS)


@HOW
def test_a_wind_whose_start_nobody_heard_is_not_begun_again_from_zero(
    bench: HostBench, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    unheard(bench, monkeypatch, "start", how)
    loses_everything(bench)
    count = bench.true_pulses
    (record,) = bench.ledger.winds()
    assert bench.wind_error() == ("TrippedError", go_on_or_drop(record.job_id))
    assert (bench.true_pulses, bench.ledger.winds()) == (count, [record])
    _, rejoin = bench.find()
    assert rejoin.standing.lowest <= count <= rejoin.standing.highest


@HOW
def test_a_spool_that_went_on_unheard_is_not_known_by_its_last_rest(
    bench: HostBench, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    assert bench.wind() == EXIT_PAUSED
    unheard(bench, monkeypatch, "go_on", how)
    (record,) = bench.ledger.winds()
    for known in (record.known, given_up(record, bench.ledger)):
        assert isinstance(known, WindResult)
        assert (known.count_known, known.uncertain, known.phase_turns) == (False, True, None)
    loses_everything(bench)
    _, rejoin = bench.find()
    assert rejoin.standing.lowest < bench.true_pulses <= rejoin.standing.highest
    assert rejoin.uncertain_turns > 2


def test_nor_is_one_that_a_resumption_set_in_motion_unheard(bench: HostBench, monkeypatch: pytest.MonkeyPatch) -> None:
    assert bench.wind() == EXIT_PAUSED
    loses_everything(bench)
    monkeypatch.setattr(bench, "wind", bench.resume)
    unheard(bench, monkeypatch, "go_on", "link lost")
    loses_everything(bench)
    _, rejoin = bench.find()
    assert rejoin.standing.lowest < bench.true_pulses <= rejoin.standing.highest


def test_a_start_that_is_refused_leaves_a_job_that_was_not_begun(
    bench: HostBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    request = Client.request

    def refused(client: Client, verb: str, *values: Any) -> dict[str, Any]:
        if verb == "start":
            fields = {"refusal": codes.SWITCH_ACTIVE, "detail": codes.GUARD_SWITCH, "state": codes.LOADED}
            raise RefusedError(verb, {**fields, "accepted": 0})
        return request(client, verb, *values)

    with monkeypatch.context() as patch:
        patch.setattr(Arrival, "_start", lambda *_: (_ for _ in ()).throw(SystemExit))
        with pytest.raises(SystemExit):
            bench.wind()
    with monkeypatch.context() as patch:
        patch.setattr(Client, "request", refused)
        assert bench.wind_error()[0] == "RefusedError"
    (record,) = bench.ledger.winds()
    assert (record.open, record.last_state) == (True, "loaded")
    loses_everything(bench)
    assert bench.wind() == EXIT_PAUSED, "it holds nothing up"
