"""The rooms import one way only."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HOST = ROOT / "host" / "reelwright"

# room of the host -> the rooms that it may import, besides itself and the modules that stand beside the rooms
MAY_IMPORT = {
    "winding": set(),
    "profiles": {"winding"},
    "device": {"winding", "windlink"},
    "machines": {"winding", "profiles", "device", "windlink"},
    "ledger": set(),
    "simulator": {"winding", "device", "windlink"},
    "views": {"ledger", "winding", "windlink"},
    "operation": {"winding", "profiles", "device", "ledger", "views", "windlink"},
    "install": {"winding", "profiles", "machines", "device", "operation", "windlink"},
    "cli": {
        "install",
        "winding",
        "profiles",
        "machines",
        "device",
        "ledger",
        "simulator",
        "views",
        "operation",
        "windlink",
    },
}
BESIDE = {"cautions", "condition", "errors", "firmware_folders", "json_text", "snapshot", "verdicts", "__version__"}
HARDWARE = {"machine", "rp2", "esp32"}


def imports_of(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def tops(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imports_of(path)}


@pytest.mark.parametrize("room", sorted(MAY_IMPORT))
def test_a_room_of_the_host_imports_only_what_lies_below_it(room: str) -> None:
    files = list((HOST / room).rglob("*.py"))
    assert files
    for path in files:
        ours = {name.split(".")[1] for name in imports_of(path) if name.startswith("reelwright.")}
        extra = ours - MAY_IMPORT[room] - {room} - BESIDE
        assert not extra, f"{path.relative_to(ROOT)} imports {sorted(extra)}"
        if "windlink" in tops(path):
            assert "windlink" in MAY_IMPORT[room], path
        assert not tops(path) & {"windcore", "plant", "boards"}, f"{path.relative_to(ROOT)} imports firmware"


def test_every_room_of_the_host_has_its_arrows() -> None:
    rooms = {path.parent.name for path in HOST.glob("*/__init__.py")}
    assert rooms == set(MAY_IMPORT)


@pytest.mark.parametrize(
    ("folder", "ours"),
    [
        ("protocol/windlink", {"windlink"}),
        ("firmware/windcore", {"windlink", "windcore"}),
        ("firmware/plant", {"plant", "windlink", "windcore"}),
        ("firmware/boards", {"boards", "plant", "windlink", "windcore"}),
    ],
)
def test_the_firmware_imports_downwards_and_only_boards_touch_hardware(folder: str, ours: set[str]) -> None:
    all_ours = {"windlink", "windcore", "plant", "boards", "reelwright"}
    files = list((ROOT / folder).rglob("*.py"))
    assert files
    for path in files:
        assert tops(path) & all_ours <= ours, path
        if "boards" not in folder:
            assert not tops(path) & HARDWARE, path


def test_the_core_and_the_link_read_no_clock_port_or_file() -> None:
    for folder in ("protocol/windlink", "firmware/windcore"):
        for path in (ROOT / folder).rglob("*.py"):
            assert not tops(path) & {"time", "os", "sys", "select", "socket", "random"}, path
            names = {
                node.func.id
                for node in ast.walk(ast.parse(path.read_text()))
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
            }
            assert not names & {"open", "print", "input"}, path
