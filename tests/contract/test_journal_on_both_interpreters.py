"""What the winder keeps over a restart is there after it, or is known not to be; on CPython and on MicroPython."""

from __future__ import annotations

from pathlib import Path

import pytest

from interpreters import MICROPYTHON, all_three, needs_micropython, run_script
from windcore.journal import crc16

HERE = Path(__file__).parent


@all_three
def test_the_memory_keeps_every_promise(interpreter: tuple[str, ...]) -> None:
    assert run_script(interpreter, HERE / "journal_scenarios.py").splitlines()[-1] == "all kept"


def test_the_registers_checksum_is_the_crc_catalogues() -> None:
    # check value of CRC-16/IBM-3740 in the catalogue of parametrised CRC algorithms, from memory: 29B1 over
    # "123456789". Four bytes a word, so the ninth is stepped by hand with the polynomial.
    crc = crc16(crc16(0xFFFF, int.from_bytes(b"1234", "big")), int.from_bytes(b"5678", "big")) ^ ord("9") << 8
    for _ in range(8):
        crc = (crc << 1 ^ 0x1021 if crc & 0x8000 else crc << 1) & 0xFFFF
    assert crc == 0x29B1


@needs_micropython
@pytest.mark.parametrize("torn", ["nothing", "half", "garbage"])
def test_a_power_cut_at_every_program_and_erase_leaves_the_old_or_the_new_state(torn: str) -> None:
    said = run_script(MICROPYTHON, HERE / "journal_power_cuts.py", torn).splitlines()[-1]
    print(said)
    assert "third states: 0" in said
