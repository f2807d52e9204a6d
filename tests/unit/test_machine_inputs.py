"""The switches, buttons and levels of a machine file: what reads them, and which way a broken wire fails."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

import fakes.board_modules  # noqa: F401 - the board's modules must be there before its files
from boards import description
from machine_text import BOARD, PROFILE, faults, told
from reelwright.machines import compiled_text, load_machine_file

if TYPE_CHECKING:
    from machine_text import Write

pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program

LEVEL = BOARD.replace("[board.pins]", "tension_snag_permille = 800\n[board.pins]\ntension_level = 26")


def test_a_tension_level_is_compiled_with_its_limits_and_stands_in_for_the_switch(written: Write) -> None:
    profile = PROFILE.replace('"stop_button"]', '"stop_button", "tension_switch"]')
    found = load_machine_file(written(profile + LEVEL))
    compiled = json.loads(compiled_text(found))
    assert (compiled["tension_snag_permille"], compiled["tension_slack_permille"]) == (800, 0)
    assert "tension_level" not in compiled["pulls"]
    assert description.faults_of(compiled, "pico") == []
    assert found.notes == ()
    assert load_machine_file(written(PROFILE + LEVEL)).notes[0].startswith("tension_level has a pin, but")


@pytest.mark.parametrize(
    ("changes", "place", "words"),
    [
        (("tension_level = 26", "tension_level = 15"), "board.pins.tension_level", "reads no voltage; 26 to 28 do"),
        (("_permille = 800", "_permille = 0"), "board.pins.tension_level", "it acts nowhere"),
        (("tension_level = 26", ""), "board.tension_snag_permille", "tension_level has no pin"),
        (("= 800", "= 800\ntension_slack_permille = 800"), "board.tension_slack_permille", "is not below"),
        (("= 800", "= 1000"), "board.tension_snag_permille", "at most 999 thousandths of the supply"),
        (("= 800", '= 800\nactive_low = ["tension_level"]'), "board.active_low[0]", "a voltage and no switch"),
        (("= 20", '= 20\n[board.pulls]\ntension_level = "up"'), "board.pulls.tension_level", "a pull would bend"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_wrong_tension_level_is_told(written: Write, changes: tuple[str, str], place: str, words: str) -> None:
    told = faults(written(PROFILE + LEVEL.replace(*changes)))
    assert set(told) == {place}
    assert words in told[place]


def test_slack_strand_stands_in_for_the_run_out_switch_where_it_has_a_limit(written: Write) -> None:
    profile = PROFILE.replace('"stop_button"]', '"stop_button", "run_out_switch"]')
    assert "run_out or tension_level" in faults(written(profile + LEVEL))["machine.fitted[1]"]
    load_machine_file(written(profile + LEVEL.replace("= 800", "= 800\ntension_slack_permille = 100")))


@pytest.mark.parametrize(("pin", "fits"), [(32, True), (36, True), (39, True), (25, False), (4, False)])
def test_an_esp32_reads_levels_by_its_first_unit(written: Write, pin: int, fits: bool) -> None:
    """Which pins are on the unit that the radio leaves alone: ESP32 Series Datasheet, 2.2 (ADC1)."""
    text = (
        (PROFILE + LEVEL)
        .replace("pico", "esp32")
        .replace("= 26", f"= {pin}")
        .replace("stop_button = 20", "stop_button = 19")
    )
    assert ("board.pins.tension_level" in told(written(text))) != fits


def test_a_switch_unheeded_and_a_stop_button_that_a_broken_wire_kills_are_pointed_out(
    written: Write,
) -> None:
    text = (PROFILE + BOARD).replace('kind = "pico"', 'kind = "pico"\nactive_low = ["stop_button"]') + "guard = 22\n"
    notes = load_machine_file(written(text)).notes
    assert any("guard_switch" in note and "heed" in note for note in notes)
    assert any("broken wire" in note for note in notes)


GO = BOARD.replace("[board.pins]", 'active_low = ["go_button"]\n[board.pins]\ngo_button = 21')


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ((), ""),
        (('active_low = ["go_button"]', ""), 'write active_low = ["go_button"]'),
        (("stop_button = 20", 'stop_button = 20\n[board.pulls]\ngo_button = "down"'), "take it out of active_low"),
    ],
)
def test_a_go_button_that_an_open_contact_presses_is_refused(
    written: Write, changes: tuple[str, str], words: str
) -> None:
    text = GO.replace(*changes) if changes else GO
    assert words in told(written(PROFILE + text)).get("board.active_low", "")
    assert bool(told(written(PROFILE + text))) == bool(words)


def test_a_contact_to_the_supply_passes_with_a_word_on_how_it_is_wired(written: Write) -> None:
    pulls = '[board.pulls]\ngo_button = "down"\nstop_button = "down"\n'
    text = PROFILE + GO.replace('["go_button"]', '["stop_button"]') + pulls
    notes = "\n".join(load_machine_file(written(text)).notes)
    # it opens when it is pressed, and so does a broken wire
    assert "leaves it dead" not in notes
    assert "stop_button is pulled down: its contact must join the pin to 3.3 V" in notes
    loose = PROFILE + GO + '[board.pulls]\ngo_button = "none"\nstop_button = "down"\n'
    notes = "\n".join(load_machine_file(written(loose)).notes)
    assert "stop_button closes its contact when it is pressed: a broken wire leaves it dead" in notes
    assert "go_button has no pull: fit a resistor to 3.3 V" in notes
    outside = (
        PROFILE + GO.replace('["go_button"]', '["go_button", "stop_button"]') + '[board.pulls]\nstop_button = "none"\n'
    )
    assert "leaves it dead" in "\n".join(load_machine_file(written(outside)).notes)
