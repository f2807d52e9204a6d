"""The winder's end of the link: answers once, tells events until acknowledged, never speaks to nobody."""

from __future__ import annotations

from typing import Any

import pytest
from rig import LOOP_MS, Rig, in_state, job_list

from reelwright.device.client import RefusedError
from windcore.service import HEARD_MS, LEAVE_MS, Identity, LinkService
from windlink import codes
from windlink.catalogue import STATE_REQUESTS
from windlink.codec import decode, encode
from windlink.frame import seal
from windlink.job import POSITION, job_crc


def taking(*verbs: str) -> int:
    """The mask of a state that takes these requests."""
    return sum(1 << STATE_REQUESTS.index(verb) for verb in verbs)


class Line:
    """A winder on the other end of a perfect cable."""

    def __init__(self, capabilities: int = 511) -> None:
        self.rig = Rig()
        self.rig.step()
        self.service = LinkService(self.rig.session, Identity("simulated", capabilities, 4321, codes.POWER_ON, 1))
        self.sequence = 0
        self.told: list[tuple[str, str, int, dict[str, object]]] = []

    def say(self, line: bytes, *, port_takes: bool = True) -> list[tuple[str, str, int, dict[str, object]]]:
        self.service.feed(line, len(line), self.rig.now_ms)
        return self.collect(port_takes=port_takes)

    def collect(self, *, port_takes: bool = True) -> list[tuple[str, str, int, dict[str, object]]]:
        out = []
        while line := self.service.outgoing(self.rig.now_ms):
            self.service.sent(line, self.rig.now_ms, port_takes)
            if not port_takes:
                break
            message, sequence, values = decode(line)
            out.append((message.kind, message.verb, sequence, message.named(values)))
        return out

    def ask(self, verb: str, *values: Any) -> tuple[str, dict[str, Any]]:
        self.sequence += 1
        for kind, answered, sequence, fields in self.say(encode(">", self.sequence, verb, values)):
            if kind == "<" and sequence == self.sequence:
                return answered, fields
        raise AssertionError(f"no answer to {verb}")

    def load(self, values: list[int], job_id: int = 77) -> tuple[str, dict[str, Any]]:
        assert self.ask("offer", job_id, len(values))[0] == "done"
        for offset in range(0, len(values), 8):
            assert self.ask("part", job_id, offset, *values[offset : offset + 8])[0] == "done"
        return self.ask("accept", job_id, job_crc(values))

    def run(self, milliseconds: int) -> list[tuple[str, str, int, dict[str, object]]]:
        out = []
        for _ in range(milliseconds // LOOP_MS):
            self.rig.step()
            out += self.collect()
        return out


def test_hello_repeats_the_session_and_names_the_versions() -> None:
    line = Line()
    verb, fields = line.ask("hello", 1, 0, 999)
    assert verb == "hello"
    assert (fields["major"], fields["minor"], fields["session"], fields["boot"]) == (1, 0, 999, 4321)


def test_a_host_of_another_major_is_told_ours_and_nothing_else() -> None:
    line = Line()
    answers = line.say(seal(">9 hello 7 3 with fields of the future"))
    assert [(kind, verb, sequence) for kind, verb, sequence, _ in answers if kind == "<"] == [("<", "hello", 9)]


def test_the_same_request_twice_acts_once_and_is_answered_twice() -> None:
    line = Line()
    line.load(job_list())
    line.ask("start", 77)
    line.run(2000)
    line.ask("pause", 77)
    line.run(3000)
    wait = line.ask("status")[1]["wait"]
    request = encode(">", 500, "go_on", (77, wait))
    first = [each for each in line.say(request) if each[0] == "<"]
    again = [each for each in line.say(request) if each[0] == "<"]
    assert first == again
    assert first[0][1] == "done"
    assert line.rig.verbs().count("began") == 2


def test_a_job_with_a_missing_part_a_wrong_checksum_or_a_bad_value_is_not_taken() -> None:
    line = Line()
    values = job_list()
    line.ask("offer", 5, len(values))
    line.ask("part", 5, 0, *values[:8])
    assert line.ask("accept", 5, job_crc(values)) == (
        "refused",
        {
            "refusal": codes.JOB_INCOMPLETE,
            "detail": 8,
            "state": codes.EMPTY,
            "accepted": taking("accept", "maintenance"),
        },
    )
    for offset in range(0, len(values), 8):
        line.ask("part", 5, offset, *values[offset : offset + 8])
    assert line.ask("accept", 5, "00000000")[1]["refusal"] == codes.JOB_DAMAGED
    values[POSITION["creep_rate"]] = values[POSITION["cruise_rate"]] + 1
    answer = line.load(values)
    assert (answer[1]["refusal"], answer[1]["detail"]) == (codes.JOB_VALUE, POSITION["creep_rate"])
    assert line.ask("status")[1]["state"] == codes.EMPTY


def test_a_job_broken_off_in_the_middle_mixes_with_no_other() -> None:
    line = Line()
    first, second = job_list(), job_list(target_pulses=1400)
    line.ask("offer", 5, len(first))
    for offset in range(0, 16, 8):
        line.ask("part", 5, offset, *first[offset : offset + 8])
    # the first host is gone; another one sends a job of its own, and late parts of the first come in between
    line.ask("hello", 1, 0, 1)
    line.ask("offer", 6, len(second))
    assert line.ask("part", 5, 16, *first[16:24])[1]["refusal"] == codes.WRONG_JOB
    assert line.ask("accept", 6, job_crc(second))[1]["refusal"] == codes.JOB_INCOMPLETE
    assert line.load(second, 6)[0] == "done"
    status = line.ask("status")[1]
    assert (status["state"], status["job_id"]) == (codes.LOADED, 6)
    assert line.rig.session.job.target_pulses == 1400


def test_a_job_broken_off_in_the_middle_is_sent_again_from_the_start() -> None:
    line = Line()
    values = job_list()
    line.ask("offer", 5, len(values))
    line.ask("part", 5, 0, *values[:8])
    line.ask("hello", 1, 0, 2)
    line.ask("offer", 5, len(values))
    for offset in range(8, len(values), 8):
        line.ask("part", 5, offset, *values[offset : offset + 8])
    answer = line.ask("accept", 5, job_crc(values))[1]
    assert (answer["refusal"], answer["detail"]) == (codes.JOB_INCOMPLETE, 0), "what came before is forgotten"
    assert line.load(values, 5)[0] == "done"
    assert line.ask("status")[1]["state"] == codes.LOADED


def test_an_upload_broken_off_changes_nothing_of_the_job_that_is_held() -> None:
    line = Line()
    values = job_list()
    line.load(values)
    line.ask("offer", 5, len(values))
    line.ask("part", 5, 0, *values[:8])
    assert line.ask("start", 77)[0] == "done"
    assert line.ask("status")[1]["job_id"] == 77


def test_a_job_faster_than_the_board_can_count_is_refused_with_what_it_can() -> None:
    line = Line()
    line.service = LinkService(line.rig.session, Identity("pico", 511, 9, codes.POWER_ON, 1, 99206))
    assert line.ask("limits")[1]["highest_rate"] == 99206
    verb, fields = line.load(job_list(highest_rate=99207))
    assert (verb, fields["refusal"], fields["detail"]) == ("refused", codes.TOO_FAST, 992)
    told = RefusedError("accept", fields)
    assert "(it counts up to 992 pulses a second)" in told.message
    assert "debounce_us" in told.remedy
    assert line.load(job_list(highest_rate=99206))[0] == "done"


@pytest.mark.parametrize("state", range(codes.TRIPPED + 1))
def test_room_for_a_job_is_made_where_the_page_has_one_accepted_and_not_while_a_spool_turns(state: int) -> None:
    line = Line()
    line.rig = in_state(state)
    line.service = LinkService(line.rig.session, Identity("simulated", 511, 9, codes.POWER_ON, 1))
    takes = state in (codes.EMPTY, codes.LOADED, codes.FINISHED)
    assert line.ask("offer", 5, 600)[1].get("refusal") == (None if takes else codes.WRONG_STATE)


def test_a_part_beyond_the_offer_or_of_another_job_is_refused() -> None:
    line = Line()
    line.ask("offer", 5, 22)
    assert line.ask("part", 5, 20, 1, 2, 3)[1]["refusal"] == codes.BAD_FIELDS
    assert line.ask("part", 6, 0, 1)[1]["refusal"] == codes.WRONG_JOB
    assert line.ask("accept", 6, "00000000")[1]["refusal"] == codes.WRONG_JOB


def test_a_job_that_needs_what_is_not_fitted_names_the_lack() -> None:
    line = Line(capabilities=codes.CAN_HAND | codes.STOP_BUTTON)
    answer = line.load(job_list(fitted=codes.STOP_BUTTON | codes.GUARD_SWITCH))
    assert (answer[1]["refusal"], answer[1]["detail"]) == (codes.NOT_FITTED, codes.CAN_DC | codes.GUARD_SWITCH)


def test_accepting_the_same_job_again_is_done_and_changes_nothing() -> None:
    line = Line()
    values = job_list()
    line.load(values)
    assert line.ask("accept", 77, job_crc(values))[0] == "done"
    line.ask("start", 77)
    assert line.ask("accept", 77, job_crc(values))[0] == "refused"


def test_a_request_for_another_job_is_refused() -> None:
    line = Line()
    line.load(job_list())
    for verb, values in (("start", (78,)), ("pause", (78,)), ("abandon", (78,)), ("go_on", (78, 0))):
        assert line.ask(verb, *values)[1]["refusal"] == codes.WRONG_JOB


def test_a_refusal_says_what_would_be_taken() -> None:
    line = Line()
    line.load(job_list())
    answer = line.ask("pause", 77)
    assert (answer[1]["refusal"], answer[1]["state"]) == (codes.WRONG_STATE, codes.LOADED)
    assert answer[1]["accepted"] == taking("accept", "start", "abandon", "recount", "maintenance")


@pytest.mark.parametrize("line", [b"\n", b"hello\n", b">7 status 00000000\n", b"\x00\xff\x03\n", b"=1 progress\n"])
def test_what_is_no_frame_is_met_with_silence_and_counted(line: bytes) -> None:
    winder = Line()
    assert winder.say(line) == []
    assert winder.ask("counters")[1]["bad_lines"] == (line != b"\n")


def test_a_sound_request_that_is_unknown_or_misshapen_is_refused_by_name() -> None:
    line = Line()
    for text, reason in ((">4 dance", codes.UNKNOWN_REQUEST), (">5 ack 1 2", codes.BAD_FIELDS)):
        answer = line.say(seal(text))[0]
        assert (answer[1], answer[3]["refusal"]) == ("refused", reason)


def test_nothing_is_told_to_nobody_and_progress_stops_when_the_host_falls_silent() -> None:
    line = Line()
    assert line.run(3000) == []
    line.ask("status")
    told = line.run(HEARD_MS + 3000)
    progress = [each for each in told if each[1] == "progress"]
    assert 10 <= len(progress) <= HEARD_MS // 100
    assert line.service.silent_ms(line.rig.now_ms) >= HEARD_MS + 2900


def test_an_event_is_told_again_until_it_is_acknowledged_and_in_order() -> None:
    line = Line()
    line.load(job_list())
    line.ask("start", 77)
    told = [each for each in line.run(1500) if each[0] == "+"]
    assert len(told) >= 3
    assert {(verb, number) for _, verb, number, _ in told} == {("began", 1)}
    line.ask("pause", 77)
    line.run(3000)
    assert line.ask("ack", 1)[0] == "done"
    told = [each for each in line.run(1000) if each[0] == "+"]
    assert {(verb, number) for _, verb, number, _ in told} == {("stopped", 2)}
    line.ask("ack", 2)
    line.ask("ack", 1)
    assert [each for each in line.run(1000) if each[0] == "+"] == []


def test_progress_that_the_port_cannot_take_is_dropped_and_counted_and_answers_are_kept() -> None:
    line = Line()
    line.say(encode(">", 1, "status"), port_takes=False)
    answers = line.collect()
    assert answers[0][:3] == ("<", "status", 1)
    line.rig.step(50)
    line.collect(port_takes=False)
    assert line.ask("counters")[1]["dropped_progress"] == 1


def test_hundreds_of_layers_without_a_host_lose_no_stop_and_no_end() -> None:
    line = Line()
    values = job_list(stops=(), target_pulses=24000, layer_numerator=100, first_numerator=100, cruise_rate=5000)
    line.load(values)
    line.ask("start", 77)
    line.rig.until(codes.FINISHED, most=200000)
    verbs = line.rig.verbs()
    assert verbs.count("ended") == 1
    assert verbs[0] == "began"
    counters = line.ask("counters")[1]
    assert (verbs.count("layer_done"), counters["dropped_events"]) == (240, 0)


def test_the_sensor_is_told_without_a_job_and_its_counter_wraps() -> None:
    line = Line()
    before = line.ask("sensor")[1]["pulses"]
    line.rig.turned = 500.0
    line.rig.inputs.switches = codes.GUARD_SWITCH | codes.GO_BUTTON
    line.rig.inputs.illegal = 5
    line.rig.step()
    assert line.ask("sensor")[1] == {
        "pulses": before + 500 - 2**30,
        "wheel_pulses": 0,
        "illegal": 5,
        "switches": codes.GUARD_SWITCH | codes.GO_BUTTON,
        "quiet_ms": 0,
    }
    line.rig.step(50)
    assert line.ask("sensor")[1]["quiet_ms"] == 500


@pytest.mark.parametrize("state", [codes.EMPTY, codes.LOADED, codes.WAITING, codes.FINISHED, codes.TRIPPED])
def test_a_restart_for_an_upload_is_taken_at_rest_in_every_state_without_drive(state: int) -> None:
    line = at_rest_in(state)
    assert line.rig.session.state == state
    line.say(encode(">", 900, "maintenance"), port_takes=False)
    line.rig.step(LEAVE_MS // LOOP_MS)
    assert not line.service.restart_due(line.rig.now_ms)  # the answer has not left yet
    assert line.collect()[0][:2] == ("<", "done")
    assert line.service.restart_due(line.rig.now_ms)
    assert line.rig.session.state == state


def at_rest_in(state: int) -> Line:
    line = Line()
    if state == codes.EMPTY:
        return line
    line.load(job_list(stops=(), target_pulses=200))
    if state == codes.LOADED:
        return line
    line.ask("start", 77)
    line.run(1000)
    if state == codes.WAITING:
        line.ask("pause", 77)
    if state == codes.TRIPPED:
        line.rig.inputs.switches = codes.STOP_BUTTON
        line.rig.step(2)
        line.rig.inputs.switches = 0
    line.run(8000)
    return line


@pytest.mark.parametrize("moment", ["winding", "easing", "coasting after a trip", "turned by hand without a job"])
def test_a_restart_for_an_upload_is_refused_while_the_spool_turns(moment: str) -> None:
    line = Line()
    if moment == "turned by hand without a job":
        line.rig.forced = 20.0
        line.rig.step(30)
    else:
        line.load(job_list())
        line.ask("start", 77)
        line.run(2000)
        if moment == "easing":
            line.ask("pause", 77)
            line.run(50)
        elif moment == "coasting after a trip":
            line.rig.inputs.switches = codes.STOP_BUTTON
            line.rig.forced = 20.0
            line.run(200)
    verb, fields = line.ask("maintenance")
    reason = codes.WRONG_STATE if moment in ("winding", "easing") else codes.STILL_TURNS
    assert (verb, fields["refusal"]) == ("refused", reason)
    line.run(LEAVE_MS)
    assert not line.service.restart_due(line.rig.now_ms)


def test_a_restart_is_off_when_a_hand_starts_the_job_before_the_answer_has_left() -> None:
    line = at_rest_in(codes.LOADED)
    assert line.ask("maintenance")[0] == "done"
    line.rig.session.start()
    line.run(LEAVE_MS)
    assert not line.service.restart_due(line.rig.now_ms)
    line.rig.until(codes.FINISHED, most=20000)
    line.rig.step(500)
    assert not line.service.restart_due(line.rig.now_ms)


def test_a_loopback_is_made_once_for_a_request_however_often_that_arrives() -> None:
    made: list[tuple[int, ...]] = []

    def make(*asked: int) -> int:
        made.append(asked)
        return 42

    line = Line()
    line.service = LinkService(line.rig.session, Identity("pico", 0, 9, codes.POWER_ON, 1), make)
    request = encode(">", 5, "loopback", (codes.ONE_CHANNEL, 10, 100, 2))
    for _ in range(3):
        line.service.feed(request, len(request), line.rig.now_ms)
        assert decode(line.service.outgoing(line.rig.now_ms))[2] == (42,)
    assert made == [(codes.ONE_CHANNEL, 10, 100, 2)]
    assert line.service.paused()
    assert not line.service.paused()


def test_a_loopback_is_refused_where_it_could_spoil_a_count_or_lasts_too_long() -> None:
    bare = Line()
    assert bare.ask("loopback", codes.PULSES_ON, 10, 100, 0)[1]["refusal"] == codes.NOT_FITTED
    line = Line()
    line.service = LinkService(
        line.rig.session, Identity("pico", 511 & ~codes.CAN_QUADRATURE, 9, codes.POWER_ON, 1), lambda *_: 1
    )
    assert line.ask("loopback", codes.PULSES_ON, 10, 100, 0)[1]["refusal"] == codes.NOT_FITTED
    assert line.ask("loopback", codes.ONE_CHANNEL, 1000, 300, 0)[1]["refusal"] == codes.BAD_FIELDS
    assert line.ask("loopback", codes.ONE_CHANNEL, 1000, 200, 0)[0] == "loopback"
    assert line.load(job_list())[0] == "done"
    assert line.ask("loopback", codes.ONE_CHANNEL, 10, 100, 0)[1]["refusal"] == codes.WRONG_STATE
