"""A table keeps every figure whole on any terminal, and says what it leaves out."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from reelwright.cli import main
from reelwright.views.tables import Column, FigureTable

VIEWS = Path(__file__).resolve().parents[2] / "host" / "reelwright"
COLUMNS = (
    Column("Layer"),
    Column("Wound", "m", spare=2),
    Column("Pulse at\nits end", spare=1),
    Column("Then", words=True),
)
ROWS = (("1", "9.375", "1234567", "pauses for the tag"), ("2", "19.116", "", "goes on"))
CUT_LIST = """
strand = {profile = "pla-1.75"}
machine = {profile = "narrow-dc"}
take_up = {spool = "quarter-kilo"}
pay_off = [{name = "the long grey shelf", held_m = 40, held_u_m = 0.3}]
wanted = [{name = "kit", length_m = 23}]
"""
BENCH = ["--spool", "kilo", "--machine", "bench-dc", "--strand", "pla-1.75"]
ANSWERS = (
    ["plan", *BENCH, "--length", "40m", "--pause-at-layer", "3", "--line-speed", "0.5"],
    ["gears", "find", *BENCH, "--stages", "2"],
    ["gears", "check", "--gears", "18:72,18:77", "--screw-turns", "2", "--spool", "kilo"],
    ["calibrate", "diameter", "1.74mm", "1.75mm", "17.4mm", "1.73mm", "1.75mm", "--strand", "pla-1.75"],
    ["split", "list.toml"],
)


def printed(width: int) -> str:
    table = FigureTable(*COLUMNS)
    for row in ROWS:
        table.add_row(*row)
    out = io.StringIO()
    Console(file=out, width=width).print(table)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines())


def test_with_room_it_is_a_heading_a_rule_and_the_rows() -> None:
    assert printed(60).splitlines() == [
        "",
        "        Wound  Pulse at",
        "Layer       m   its end  Then",
        "───────────────────────────────────────────",
        "    1   9.375   1234567  pauses for the tag",
        "    2  19.116            goes on",
    ]


def test_words_are_broken_before_a_column_is_left_out() -> None:
    lines = printed(36).splitlines()
    assert lines[4:6] == ["    1   9.375   1234567  pauses for", "                         the tag"]
    assert "Left out" not in printed(36)


def test_what_matters_least_goes_first_and_is_named() -> None:
    told = printed(26)
    assert "1234567" in told
    assert "9.375" not in told
    assert told.endswith("Left out, as the screen is\ntoo narrow: Wound, m.")
    told = printed(16)
    assert "1234567" not in told
    assert " ".join(told.split()).endswith("Left out, as the screen is too narrow: Wound, m; Pulse at its end.")


def test_where_nothing_more_may_go_a_row_is_a_block_that_leaves_nothing_out() -> None:
    told = printed(12)
    assert "Left out" not in told
    blocks = [re.sub(r"\s+", " ", block).strip() for block in told.strip().split("\n\n")]
    assert len(blocks) == len(ROWS)
    for figure in ("1", "9.375", "1234567", "pauses"):
        assert figure in blocks[0].split()


@pytest.mark.parametrize("width", range(10, 60))
def test_no_figure_is_ever_cut_or_broken(width: int) -> None:
    told = printed(width)
    assert "…" not in told
    every = {figure for row in ROWS for figure in row[:3]} - {""}
    digits = {found for found in re.findall(r"\d[\d.]*", told) if re.fullmatch(r"\d+(\.\d+)?", found)}
    assert digits <= every
    assert {"1", "2"} <= digits


@pytest.mark.parametrize("arguments", ANSWERS, ids=lambda each: " ".join(each[:2]))
@pytest.mark.parametrize("width", [25, 40, 50, 60, 72])
def test_every_answer_keeps_its_figures_on_a_narrow_terminal(
    arguments: list[str], width: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "list.toml").write_text(CUT_LIST, encoding="utf-8")
    answers = {}
    for columns in (width, 200):
        monkeypatch.setenv("COLUMNS", str(columns))
        answers[columns] = CliRunner().invoke(main, arguments, catch_exceptions=False).stdout
    assert "…" not in answers[width]
    assert "Left out" not in answers[200]
    wide, narrow = (set(re.findall(r"\d+\.\d+", answers[columns])) for columns in (200, width))
    assert narrow <= wide
    assert max(map(len, answers[width].splitlines())) <= width


def test_no_view_makes_a_table_of_another_style() -> None:
    """The ledger's, which goes into pipes too, is the only other one."""
    makes = {path.name for path in VIEWS.rglob("*.py") if re.search(r"\bTable\(", path.read_text(encoding="utf-8"))}
    assert makes <= {"tables.py", "ledger_table.py"}
