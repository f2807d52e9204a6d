"""The operator's requests: keys on a real pseudo-terminal, words through a real pipe."""

import os
import signal
import subprocess
import sys
import time

import pytest

from reelwright.views.keys import KEYS, SURE, YES, KeyReader, Keys, keys_help
from shown_wind import HandClock

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a thing of POSIX")
PATIENCE_S = 10.0


def until(asked):
    """Asks again until there is an answer; the system needs a moment to carry it."""
    deadline_s = time.monotonic() + PATIENCE_S
    while not (answer := asked()):
        assert time.monotonic() < deadline_s, "no answer in time"
        time.sleep(0.002)
    return answer


def all_of(keys):
    """Every request up to the end of the input."""
    asked = []
    until(lambda: asked.append(keys.poll()) or keys.at_end)
    return [action for action in asked if action]


@pytest.fixture
def terminal():
    """The operator's end, and the program's end as a text file."""
    operator, program = os.openpty()
    with open(program, closefd=False) as stream:
        yield operator, stream
    for descriptor in (operator, program):
        try:
            os.close(descriptor)
        except OSError:  # closed by the test
            continue


@pytest.fixture
def pipe():
    """The operator's end as a binary file, and the program's end as a text file."""
    reader, writer = os.pipe()
    with os.fdopen(reader) as stream, os.fdopen(writer, "wb", buffering=0) as operator:
        yield operator, stream


# --- on a terminal ------------------------------------------------------------------------------------------


@posix_only
@pytest.mark.parametrize("key", KEYS, ids=lambda key: key.word)
def test_each_key_asks_for_its_own_thing_without_return(terminal, key, monkeypatch):
    monkeypatch.setattr("reelwright.views.keys._HAND_S", 0)  # the test is faster than a hand; see what is pasted below
    operator, stream = terminal
    told = []
    with Keys(stream, tell=told.append) as keys:
        assert keys.poll() is None
        for sign in (key.key, key.key.upper()):  # with caps lock too
            os.write(operator, sign.encode())
            if key.action == "abandon":
                until(lambda told=told: told.pop() if told else keys.poll())
                os.write(operator, YES.encode())
            assert until(keys.poll) == key.action
        assert keys.poll() is None
        assert not keys.at_end


@posix_only
def test_the_terminal_is_given_back_as_it_was_even_after_ctrl_c(terminal):
    import termios

    _, stream = terminal
    before = termios.tcgetattr(stream.fileno())
    during = []

    def interrupted():
        during.extend(termios.tcgetattr(stream.fileno()))
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt), Keys(stream):
        interrupted()

    assert not during[3] & (termios.ICANON | termios.ECHO)
    assert during[3] & termios.ISIG  # Ctrl-C keeps its meaning
    assert termios.tcgetattr(stream.fileno()) == before


@posix_only
def test_a_terminal_that_a_shell_has_set_to_lines_meanwhile_is_taken_again(terminal):
    import termios

    operator, stream = terminal
    before = termios.tcgetattr(stream.fileno())
    with Keys(stream) as keys:
        assert keys.poll() is None
        termios.tcsetattr(stream.fileno(), termios.TCSANOW, before)  # Ctrl-Z, and `fg` in a shell
        assert keys.poll() is None
        os.write(operator, b"p")
        assert until(keys.poll) == "pause"
    assert termios.tcgetattr(stream.fileno()) == before


@posix_only
def test_the_keys_typed_are_not_echoed(terminal):
    operator, stream = terminal
    with Keys(stream) as keys:
        os.write(operator, b"p")
        until(keys.poll)
        os.set_blocking(operator, False)
        with pytest.raises(BlockingIOError):
            os.read(operator, 10)


@posix_only
def test_a_terminal_that_is_closed_is_the_end(terminal):
    operator, stream = terminal
    with Keys(stream) as keys:
        os.close(operator)
        until(lambda: keys.at_end)
        assert keys.poll() is None


def said_on_a_terminal(program, expected, then_send=b"", then_expected=b""):
    """Runs a program with a terminal of its own, waits for its words, sends keys, and waits for the answer."""
    pid, operator = os.forkpty()
    if pid == 0:
        os.execv(sys.executable, [sys.executable, "-c", f"import sys; sys.path[:0] = {sys.path!r}\n" + program])  # noqa: S606 - the child of a fork
    said = b""
    try:
        for words, answer in ((expected, then_send), (then_expected, b"")):
            while words not in said:
                said += os.read(operator, 1000)
            os.write(operator, answer)
    except OSError:  # it ended, and closed its terminal
        pytest.fail(f"it ended with: {said!r}")
    finally:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.close(operator)


@posix_only
def test_ctrl_c_on_the_terminal_raises_keyboard_interrupt():
    program = """
import time
from reelwright.views.keys import Keys
with Keys() as keys:
    try:
        print('ready', flush=True)
        while True:
            keys.poll()
            time.sleep(0.01)
    except KeyboardInterrupt:
        print('interrupted', flush=True)
        time.sleep(60)
"""
    said_on_a_terminal(program, b"ready", b"\x03", b"interrupted")


@posix_only
def test_a_wind_in_the_background_is_not_stopped_for_touching_its_terminal():
    """The system stops a background program that reads its terminal or sets it; then nobody would follow the wind."""
    program = """
import os, time
from reelwright.views.keys import Keys
child = os.fork()
if child == 0:
    os.setpgid(0, 0)
    with Keys() as keys:
        keys.poll()
        at_end = keys.at_end
    os._exit(7 if not at_end else 8)
_, status = os.waitpid(child, os.WUNTRACED)
print('stopped' if os.WIFSTOPPED(status) else f'ended {os.waitstatus_to_exitcode(status)}', flush=True)
time.sleep(60)
"""
    said_on_a_terminal(program, b"ended 7")


# --- what a terminal sends besides keys ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("burst", "asked"),
    [
        ("p", ["pause"]),
        ("x", []),
        ("\x1b[A", []),  # cursor up holds an a, and must not abandon
        ("\x1bOC", []),
        ("\x1b[1;5A\x1b[15~g", ["go_on"]),
        ("\x1bp", ["pause"]),  # escape, then p
        ("pppp", ["pause"]),  # held down
        ("pg", ["pause"]),  # no hand is so fast
        ("gc", []),
        ("abandon all of it", []),  # pasted
        ("clear the tape", ["pause"]),  # pasted, with a p in it: rest is always safe
        ("\x04\x00\xff", []),
    ],
)
def test_only_keys_of_ours_ask_for_something(burst, asked):
    assert KeyReader(str).actions(burst) == asked


@pytest.mark.parametrize("cut", [1, 2, 3, 4])
def test_a_sequence_that_arrives_in_two_pieces_is_still_no_key(cut):
    reader = KeyReader(str)
    sequence = "\x1b[1;5A"

    assert reader.actions(sequence[:cut]) + reader.actions(sequence[cut:]) == []
    assert reader.actions("g") == ["go_on"]


def test_a_job_is_abandoned_by_a_yes_soon_after_the_question():
    clock, told = HandClock(), []
    reader = KeyReader(told.append, clock)

    assert reader.actions("a") == []
    assert told == [SURE]
    clock.now_s += 2.9
    assert reader.actions("y") == ["abandon"]
    clock.now_s += 1
    assert reader.actions("y") == [], "nothing was asked"
    clock.now_s += 1
    assert reader.actions("a") == [], "that one asks anew"
    clock.now_s += 3.1
    assert reader.actions("y") == [], "too late"
    assert len(told) == 2


@pytest.mark.parametrize("other", ["n", "p", "x", " "])
def test_any_other_key_than_yes_takes_the_question_back(other):
    clock = HandClock()
    reader = KeyReader(str, clock)
    reader.actions("a")
    clock.now_s += 0.5
    assert "abandon" not in reader.actions(other)
    clock.now_s += 0.5
    assert reader.actions("y") == []


def test_a_key_that_is_held_down_abandons_nothing():
    clock = HandClock()
    reader = KeyReader(str, clock)
    asked = reader.actions("a")
    clock.now_s += 0.5
    for _ in range(50):
        asked += reader.actions("a")
        clock.now_s += 0.03
    assert asked == []


def test_a_text_that_is_pasted_in_pieces_asks_for_nothing():
    clock = HandClock()
    reader = KeyReader(str, clock)
    asked = []
    for piece in ("x", "a", "g", "a", "c"):
        asked += reader.actions(piece)
        clock.now_s += 0.01
    assert asked == []
    clock.now_s += 1
    assert reader.actions("g") == ["go_on"]


# --- through a pipe -----------------------------------------------------------------------------------------


def test_a_pipe_asks_with_a_word_a_line(pipe):
    operator, stream = pipe
    with Keys(stream) as keys:
        operator.write(b"pause\ngo on\r\n GO_ON \nGo-On\n\np\nabandon\ncl")
        operator.write(b"ear")  # the last line ends with the input
        operator.close()
        asked = all_of(keys)

    assert asked == ["pause", "go_on", "go_on", "go_on", "pause", "abandon", "clear"]
    assert keys.at_end


def test_an_unknown_word_is_reported_and_asks_for_nothing(pipe):
    operator, stream = pipe
    told = []
    with Keys(stream, tell=told.append) as keys:
        operator.write(b"faster\x1b[2J\n" + b"x" * 5000 + b"\n\xff\xfe\npause\n")
        operator.close()
        asked = all_of(keys)

    assert asked == ["pause"]
    assert told[0] == "'faster' asks for nothing known; send one of: pause, go on, abandon, clear."
    assert len(told) == 3
    assert max(map(len, told)) < 120


def test_polling_a_silent_pipe_never_waits_and_is_not_the_end(pipe):
    _, stream = pipe
    with Keys(stream) as keys:
        begun_s = time.perf_counter()
        assert [keys.poll() for _ in range(1000)] == [None] * 1000
        assert time.perf_counter() - begun_s < 1.0
        assert not keys.at_end


def test_an_empty_input_is_at_its_end_soon():
    with open(os.devnull) as nothing, Keys(nothing) as keys:
        until(lambda: keys.at_end)


def test_a_program_without_any_input_is_at_the_end_at_once():
    import io

    with Keys(io.StringIO("pause\n")) as keys:
        assert keys.at_end
        assert keys.poll() is None


def test_a_program_ends_while_its_silent_pipe_is_still_open():
    program = f"""
import sys
sys.path[:0] = {sys.path!r}
from reelwright.views.keys import Keys
with Keys() as keys:
    keys.poll()
print('done')
"""
    reader, writer = os.pipe()
    try:
        done = subprocess.run(
            [sys.executable, "-c", program], stdin=reader, capture_output=True, text=True, timeout=30, check=False
        )
    finally:
        os.close(reader)
        os.close(writer)

    assert (done.stdout, done.stderr, done.returncode) == ("done\n", "", 0)


def test_the_help_names_every_key_once():
    text = keys_help()

    assert [line.split()[0] for line in text.splitlines()] == ["p", "g", "a", "c"]
    assert len({key.key for key in KEYS}) == len({key.word for key in KEYS}) == len(KEYS)
