"""The commands that hints tell can be pasted into a shell as they are."""

from __future__ import annotations

import shlex

import pytest

from reelwright.operation.commands import Ways, clear_command, drop_command, resume_command, words_to_begin


def test_a_job_is_gone_on_with_by_its_number_at_its_port() -> None:
    assert resume_command(77, "/dev/ttyACM0") == "reelwright wind --resume 77 --port /dev/ttyACM0"
    assert resume_command(77) == "reelwright wind --resume 77"
    told = resume_command(77, "/dev/my winder", "--agree-within", "2.5")
    assert shlex.split(told)[-4:] == ["--port", "/dev/my winder", "--agree-within", "2.5"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ((), "reelwright wind JOB.toml --port /dev/x --drop-held"),
        (("wind", "my coil.toml"), "reelwright wind 'my coil.toml' --port /dev/x --drop-held"),
        (("wind", "a.toml", "--port", "/dev/y"), "reelwright wind a.toml --port /dev/y --drop-held"),
        (("wind", "a.toml", "--port=/dev/y"), "reelwright wind a.toml --port=/dev/y --drop-held"),
        (("wind", "a.toml", "--drop-held", "--json"), "reelwright wind a.toml --json --port /dev/x --drop-held"),
    ],
)
def test_what_the_winder_has_is_given_up_by_the_command_that_was_typed(words: tuple[str, ...], told: str) -> None:
    assert drop_command("/dev/x", words) == told


def test_a_trip_is_cleared_by_the_command_that_was_typed_or_by_the_job_that_is_held() -> None:
    typed = ("wind", "a.toml", "--clear", "slip", "--go-on")
    assert clear_command("/dev/x", "snag", typed) == "reelwright wind a.toml --go-on --port /dev/x --clear snag"
    typed = ("wind", "a.toml", "--clear=slip")
    assert clear_command("/dev/x", "snag", typed, 77) == "reelwright wind a.toml --port /dev/x --clear snag"
    assert clear_command("/dev/x", "snag", (), 77) == "reelwright wind --resume 77 --port /dev/x --clear snag"
    assert clear_command("/dev/x", "snag") == "reelwright wind JOB.toml --port /dev/x --clear snag"


@pytest.mark.parametrize("named", [("--clear", "slip"), ("--clear=slip",)])
def test_a_job_is_begun_without_a_trip_to_clear_where_none_is(named: tuple[str, ...]) -> None:
    assert Ways("/dev/x", ("wind", "a.toml", *named, "--go-on")).begin == "reelwright wind a.toml --go-on --port /dev/x"
    assert Ways("/dev/x").begin == "reelwright wind JOB.toml --port /dev/x"


@pytest.mark.parametrize(
    "typed",
    [
        "wind --resume a.toml --go-on",
        "wind a.toml --go-on --resume --agree",
        "wind a.toml --agree-within 3 --resume --counted-turns=12 --give-or-take 1 --go-on",
    ],
)
def test_a_job_that_was_to_be_resumed_is_begun_by_the_words_that_named_it(typed: str) -> None:
    assert words_to_begin(typed.split()) == ["wind", "a.toml", "--go-on"]
