"""A cut list from its file: what is read, and what is told of a bad one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from reelwright.errors import FileFaultsError, UsageError
from reelwright.profiles.cut_lists import load_cut_list
from reelwright.winding.job import PayOff
from reelwright.winding.source import check_source

if TYPE_CHECKING:
    from pathlib import Path

    from reelwright.winding.cut_plan import CutList

LIST = """
[strand]
profile = "pla-1.75"
[machine]
profile = "narrow-dc"
[take_up]
spool = "quarter-kilo"
[cut]
leader_m = 0.5
most_joins = 2
[[pay_off]]
name = "shelf 1"
gross_mass_g = 352
empty_mass_g = 190
[[pay_off]]
spool = "kilo"
wound_diameter_mm = 98
[[pay_off]]
held_m = 20
held_u_m = 0.25
strand = "petg-1.75"
[[wanted]]
name = "kit"
length_m = 12.5
count = 2
[[wanted]]
length_m = 4
strand = { profile = "petg-1.75" }
take_up = { spool = "sample", empty_mass_g = 30 }
most_joins = 0
leader_m = 0
"""


pytestmark = pytest.mark.usefixtures("own_profiles")  # none but those of the program


def loaded(tmp_path: Path, text: str) -> CutList:
    path = tmp_path / "list.toml"
    path.write_text(text, encoding="utf-8")
    return load_cut_list(path)


def faults_of(tmp_path: Path, text: str) -> dict[str, str]:
    with pytest.raises(FileFaultsError) as told:
        loaded(tmp_path, text)
    paths = [fault.path for fault in told.value.faults]
    assert len(paths) == len(set(paths)), paths
    return {fault.path: fault.message for fault in told.value.faults}


def test_each_entry_is_read_with_what_holds_for_the_whole_list(tmp_path: Path) -> None:
    cut_list = loaded(tmp_path, LIST)
    assert [spool.name for spool in cut_list.pay_offs] == ["shelf 1", "kilo", "pay-off 3"]
    assert [wanted.name for wanted in cut_list.wanted] == ["kit 1", "kit 2", "sample"]
    assert [wanted.most_joins for wanted in cut_list.wanted] == [2, 2, 0]
    assert [wanted.job.target.leader_m for wanted in cut_list.wanted] == [0.5, 0.5, 0]
    kit, _, petg = (wanted.job for wanted in cut_list.wanted)
    assert (kit.take_up.barrel_diameter_mm, petg.take_up.barrel_diameter_mm) == (60, 56)
    assert petg.take_up.empty_mass_g == 30
    assert (kit.strand.material, petg.strand.material) == ("PLA", "PETG")


@pytest.mark.parametrize(
    ("names", "told_apart"),
    [
        # two entries of one name, whatever their case, and two without any, which go by their spool
        (["kit", "Kit"], ["kit 1", "kit 2", "Kit 3"]),
        (["kit", ""], ["kit 1", "kit 2", "quarter-kilo"]),
        (["", ""], ["quarter-kilo 1", "quarter-kilo 2", "quarter-kilo 3"]),
        # a name that another length has already is left to it
        (["kit", "kit 2"], ["kit 1", "kit 3", "kit 2"]),
    ],
)
def test_take_up_spools_of_one_name_are_numbered_through_the_list(
    tmp_path: Path, names: list[str], told_apart: list[str]
) -> None:
    text = LIST[: LIST.index("[[wanted]]")]
    for name, count in zip(names, (2, 1), strict=True):
        called = f'name = "{name}"' if name else ""
        text += f"[[wanted]]\n{called}\nlength_m = 2\ncount = {count}\n"
    wanted = loaded(tmp_path, text).wanted
    assert [each.name for each in wanted] == told_apart
    assert [each.job.take_up.name for each in wanted] == told_apart


def test_the_error_bar_of_a_pay_off_spool_is_that_of_a_job(tmp_path: Path) -> None:
    cut_list = loaded(tmp_path, LIST)
    shelf, kilo, known = cut_list.pay_offs
    assert shelf.check == check_source(PayOff(gross_mass_g=352, empty_mass_g=190), shelf.strand, 0)
    assert kilo.check.method == "wound diameter"
    assert (known.check.held_m, known.check.held_u_m) == (20, 0.25)
    # a little less than its lower end, k = 2, for what a wind may take beyond its plan
    sure_mm = [supply.usable_mm for supply in cut_list.problem().supplies]
    assert 19_450 < sure_mm[2] < 19_500
    assert 0 < shelf.check.held_m - 2 * shelf.check.held_u_m - sure_mm[0] / 1000 < 0.5
    assert [supply.usable_mm for supply in cut_list.problem(best_estimate=True).supplies][2] == 20_000


def test_lengths_are_rounded_to_the_safe_side(tmp_path: Path) -> None:
    text = LIST.replace("length_m = 12.5", "length_m = 12.3456").replace("held_m = 20", "held_m = 20.0009")
    problem = loaded(tmp_path, text).problem(best_estimate=True)
    assert problem.demands[0].length_mm == 12_346
    assert problem.supplies[2].held_mm == 20_000


def test_all_faults_come_at_once_each_with_its_place(tmp_path: Path) -> None:
    text = """
    [strand]
    profile = "pla-1.57"
    [machine]
    turns_per_layer = "24.5"
    pulses_per_turn = -60
    [take_up]
    spool = "sample"
    [cuts]
    most_joins = 1
    [cut]
    most_join = 2
    join_loss_m = -1
    [[pay_off]]
    gross_mass_g = 100
    empty_mass_g = 200
    [[pay_off]]
    held_m = 12
    [[pay_off]]
    wound_diameter_mm = 90
    strand = 7
    [[wanted]]
    length_m = "12 m"
    [[wanted]]
    lenght_m = 3
    [[wanted]]
    length_m = 2
    count = 0
    take_up = "smaple"
    """
    told = faults_of(tmp_path, text)
    assert set(told) == {
        "cuts",
        "cut.most_join",
        "cut.join_loss_m",
        "strand.profile",
        "machine.pulses_per_turn",
        "pay_off[0].empty_mass_g",
        "pay_off[1].held_u_m",
        "pay_off[2].strand",
        "pay_off[2].barrel_diameter_mm",
        "pay_off[2].inside_width_mm",
        "wanted[0].length_m",
        "wanted[1].lenght_m",
        "wanted[2].count",
        "wanted[2].take_up.spool",
    }
    assert 'did you mean "cut"?' in told["cuts"]
    assert 'did you mean "most_joins"?' in told["cut.most_join"]
    assert 'did you mean "pla-1.75"?' in told["strand.profile"]
    assert 'did you mean "length_m"?' in told["wanted[1].lenght_m"]
    assert 'did you mean "sample"?' in told["wanted[2].take_up.spool"]


@pytest.mark.parametrize(
    ("old", "new", "path", "words"),
    [
        ("[[wanted]]\nname", "[wanted]\nname", "TOML", "not valid TOML"),
        ('strand = "petg-1.75"\n', "", "wanted[1].strand", "no pay-off spool holds petg-1.75 PETG 1.75 mm; there are"),
        ('spool = "kilo"', 'spool = "kilo"\nname = "Shelf 1"', "pay_off[1].name", "two spools are called"),
        ("length_m = 12.5", "length_m = 900", "wanted[0]", "cannot be wound"),
        ("length_m = 12.5", "length_m = 1e6", "wanted[0].length_m", "1000 layers"),
        ("count = 2", "count = 101", "wanted[0].count", "at most 100"),
        ("count = 2", "count = 100", "wanted", "101 lengths are too many"),
        ("held_m = 20", "held_m = 20\ngross_mass_g = 300", "pay_off[2].held_m", "beside gross_mass_g"),
        ('take_up = { spool = "sample"', 'spool = { x = "y"', "wanted[1].spool", "take_up"),
        ("[take_up]\nspool", "[take_up]\nspol", "take_up.spol", "no such key"),
    ],
)
def test_one_fault_is_told_where_it_is(tmp_path: Path, old: str, new: str, path: str, words: str) -> None:
    assert old in LIST
    told = faults_of(tmp_path, LIST.replace(old, new))
    found = [message for place, message in told.items() if place == path or path == "TOML"]
    assert found, told
    assert words in found[0]


@pytest.mark.parametrize(
    ("text", "paths"),
    [
        ("", {"strand", "machine", "take_up", "pay_off", "wanted"}),
        ("pay_off = 3\nwanted = [1]\ncut = 4\n", {"strand", "machine", "take_up", "pay_off", "wanted", "cut"}),
        ("[pay_off]\nheld_m = 3\n", {"strand", "machine", "take_up", "pay_off", "wanted"}),
        ("strand = 3\n[[wanted]]\nlength_m = 3\n", {"strand", "strand.diameter_mm", "machine", "take_up", "pay_off"}),
    ],
)
def test_a_list_that_lacks_its_tables_is_told_so(tmp_path: Path, text: str, paths: set[str]) -> None:
    assert set(faults_of(tmp_path, text)) == paths


def test_a_file_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="does not exist"):
        load_cut_list(tmp_path / "none.toml")
