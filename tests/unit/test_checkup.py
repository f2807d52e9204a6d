"""The checkup's facts and what they are taken to mean, on a winder in this process."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from string import Formatter
from typing import TYPE_CHECKING

import pytest
from attrs import evolve
from click.testing import CliRunner
from rig import job_list

from cable import Cable, client_on
from reelwright import __version__, verdicts
from reelwright.cli.checkup import command
from reelwright.errors import ReelwrightError
from reelwright.ledger.sqlite import SqliteLedger
from reelwright.operation.checkup import look
from reelwright.profiles import load_part
from reelwright.snapshot import Happening
from reelwright.views.checkup_page import fact_lines, verdict_lines
from windcore.service import Identity, LinkService
from windlink import codes

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from reelwright.condition import Checkup
    from reelwright.winding.job import Machine


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[SqliteLedger]:
    moments = iter(datetime(2031, 5, 4, tzinfo=UTC) + timedelta(seconds=at) for at in range(1000))
    with SqliteLedger(tmp_path / "ledger.sqlite3", now=lambda: next(moments)) as opened:
        yield opened


def looked(cable: Cable, ledger: SqliteLedger) -> Checkup:
    client = client_on(cable)
    return look(client, client.hello(), ledger, clock=cable.clock)


def found(checkup: Checkup) -> list[str]:
    return [each.code for each in checkup.verdicts]


def test_a_sound_winder_is_in_order_and_its_facts_are_told(ledger: SqliteLedger) -> None:
    checkup = looked(Cable(), ledger)
    assert found(checkup) == ["in_order"]
    assert (checkup.firmware, checkup.program, checkup.protocol) == (__version__, __version__, "1.0")
    assert (checkup.board, checkup.boot, checkup.cause) == ("simulated", 9, "power_on")
    assert checkup.capabilities[:2] == ("stop_button", "guard_switch")
    assert (checkup.link.requests, checkup.link.retries) == (50, 0)
    assert 0 < checkup.link.round_trip_min_ms <= checkup.link.round_trip_median_ms <= checkup.link.round_trip_max_ms
    assert (checkup.held.state, checkup.held.job_id) == ("empty", 0)
    page = "\n".join(fact_lines(checkup))
    for said in ("cable", "Power was switched on.", "50 requests, 0 sent again", "none on this port"):
        assert said in page


def test_it_says_whether_a_spool_that_turns_backwards_would_be_seen(ledger: SqliteLedger) -> None:
    checkup = looked(Cable(), ledger)
    one_channel = evolve(checkup, capabilities=tuple(each for each in checkup.capabilities if each != "quadrature"))
    machine = evolve(load_part("machine", "bench-dc"), sensor="single")
    quadrature = evolve(machine, sensor="quadrature")

    def told(looked: Checkup, named: Machine | None) -> str:
        line = next(line for line in fact_lines(looked, named) if line.startswith("turning backwards"))
        return line.removeprefix("turning backwards").strip()

    assert told(one_channel, quadrature).startswith("never seen: the board")
    assert told(checkup, None).startswith("seen by machines with sensor")
    assert told(checkup, machine).startswith("never seen: sensor = ")
    assert told(checkup, quadrature) == "seen, and a trip"
    assert told(checkup, evolve(quadrature, drive="hand")).startswith("counted back, and never a trip")


def test_a_bad_cable_shows_in_requests_that_are_sent_again(ledger: SqliteLedger) -> None:
    checkup = looked(Cable(0.2, seed=3), ledger)
    assert "requests_repeated" in found(checkup)
    assert "lines_damaged" in found(checkup)
    assert checkup.link.retries > 0


@pytest.mark.parametrize("cause", [codes.WATCHDOG, codes.SOFT_RESET, codes.POWER_DIP])
def test_a_start_that_nobody_asked_for_is_named_and_its_trip_too(cause: int, ledger: SqliteLedger) -> None:
    from windcore.session import Session

    cable = Cable()
    cable.rig.session = Session(cause)
    cable.rig.step()
    cable.service = LinkService(cable.rig.session, Identity("simulated", 511, 9, cause, 1))
    checkup = looked(cable, ledger)
    assert found(checkup)[:2] == ["restarted_by_itself", "tripped"]
    assert checkup.last_trip is not None
    assert checkup.last_trip.reason == "restarted"


def test_a_start_after_maintenance_is_nothing_to_look_at(ledger: SqliteLedger) -> None:
    cable = Cable()
    cable.service = LinkService(cable.rig.session, Identity("simulated", 511, 9, codes.COMMANDED, 1))
    checkup = looked(cable, ledger)
    assert (checkup.cause, found(checkup)) == ("commanded", ["in_order"])


def test_the_job_that_is_held_is_named_with_what_the_ledger_knows(ledger: SqliteLedger) -> None:
    cable = Cable()
    client = client_on(cable)
    client.load(77, job_list())
    checkup = looked(cable, ledger)
    assert found(checkup) == ["job_held"]
    assert checkup.held.known == ""
    # a job begun from another computer cannot be resumed by this one's ledger
    assert "does not know it: go on with it from where it was begun" in checkup.verdicts[0].remedy
    assert "`reelwright wind JOB.toml --port cable --drop-held`" in checkup.verdicts[0].remedy
    ledger.open_wind(77, job={}, plan={"length_m": 40}, port="p", board="b", firmware="f", protocol="1.0", boot=1)
    told = looked(cable, ledger).verdicts[0]
    assert "40.00 m" in told.sentence
    assert told.remedy == "`reelwright wind --resume 77 --port cable` goes on with it."
    assert cable.rig.session.state == codes.LOADED


def test_only_the_trips_of_this_port_since_the_last_checkup_are_told(ledger: SqliteLedger) -> None:
    def trip(job_id: int, port: str, number: int, reason: str) -> None:
        if ledger.find(job_id) is None:
            ledger.open_wind(job_id, job={}, plan={}, port=port, board="b", firmware="f", protocol="1.0", boot=1)
        ledger.record_event(job_id, 1, Happening(number, "tripped", "Tripped.", {"reason": reason}, "Mend it."))

    trip(1, "cable", 1, "snag")
    trip(2, "elsewhere", 1, "overspeed")
    first = looked(Cable(), ledger)
    assert (first.since, [each.reason for each in first.recorded_trips]) == (None, ["snag"])
    ledger.record_checkup("cable", {"kind": "checkup"})
    trip(3, "cable", 1, "no_pulses")
    trip(3, "cable", 2, "no_pulses")
    ledger.record_event(3, 1, Happening(3, "cleared", "Cleared.", {"reason": "no_pulses"}))
    second = looked(Cable(), ledger)
    assert second.since == ledger.last_checkup("cable")
    assert [(each.job_id, each.reason) for each in second.recorded_trips] == [(3, "no_pulses"), (3, "no_pulses")]
    assert "no_pulses 2" in second.verdicts[0].sentence
    assert ledger.last_checkup("elsewhere") is None


def test_text_from_the_winder_and_the_system_cannot_steer_the_terminal(ledger: SqliteLedger) -> None:
    import attrs

    checkup = looked(Cable(), ledger)
    hostile = attrs.evolve(checkup, port=attrs.evolve(checkup.port, serial_number="\x1b[2Jgone", usb_vendor="\x9b1m"))
    shown = "".join(fact_lines(hostile))
    assert "gone" in shown
    assert not {"\x1b", "\x9b"} & set(shown)
    spiteful = verdicts.verdict("motor_tripped", trip="\x1b]0;x\x07snag", sentence="a\nb", remedy="")
    assert "".join(verdict_lines([spiteful])) == "Fault: The motor test tripped (snag). a b"


@pytest.mark.parametrize("code", verdicts.CODES)
def test_every_verdict_is_whole_sentences_and_every_fault_says_what_to_do(code: str) -> None:
    rank, sentence, remedy = verdicts._VERDICTS[code]
    names = {name for text in (sentence, remedy) for _, name, _, _ in Formatter().parse(text) if name}
    told = verdicts.verdict(code, **dict.fromkeys(names, "x"))
    assert told.sentence[0].isupper() or sentence.startswith("{")
    assert told.sentence[-1] in ".x"
    assert rank != verdicts.FAULT or told.remedy


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--sensor"], "needs to know the machine"),
        (["--motor"], "needs to know the machine"),
        (["bench-dcc", "--sensor"], "bench-dc"),
        (["nowhere.toml", "--motor"], "nowhere.toml"),
        (["bench-hand", "--motor"], "no motor to test"),
        (["bench-dc", "--sensor", "--free-port"], "goes alone"),
        (["--port", "/dev/ttyNOWHERE"], "There is no port"),
        (["bench-dc", "--sensor", "--port", "/dev/ttyNOWHERE"], "There is no port"),
    ],
)
def test_what_cannot_be_is_told_with_a_mend(
    arguments: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REELWRIGHT_HOME", str(tmp_path))
    with pytest.raises(ReelwrightError) as told:
        CliRunner().invoke(command, arguments, catch_exceptions=False)
    assert said in str(told.value)
    assert told.value.remedy or "bench-dc" in said


@pytest.mark.parametrize("turns", ["0", "21", "many"])
def test_a_number_of_turns_that_nobody_makes_is_refused(turns: str) -> None:
    done = CliRunner().invoke(command, ["bench-dc", "--sensor", "--turns", turns])
    assert done.exit_code == 2
    assert "--turns" in done.output
