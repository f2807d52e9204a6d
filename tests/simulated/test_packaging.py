"""A wheel built from the source archive is whole: its command runs from any folder and finds its firmware."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from simulated.winder import JOB

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def archives(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the source archive and the wheel made from it. No registry is asked for anything."""
    out = tmp_path_factory.mktemp("dist")
    done = subprocess.run(
        [sys.executable, "-m", "build", "--no-isolation", "--outdir", str(out), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return out


def test_the_wheel_holds_the_link_the_profiles_and_the_firmware_and_no_leftovers(archives: Path) -> None:
    with zipfile.ZipFile(next(archives.glob("*.whl"))) as wheel:
        names = wheel.namelist()
    for wanted in (
        "windlink/catalogue.py",
        "reelwright/cli/__init__.py",
        "reelwright/firmware/main.py",
        "reelwright/firmware/windcore/session.py",
        "reelwright/firmware/plant/winder.py",
        "reelwright/firmware/boards/simulated.py",
    ):
        assert wanted in names
    assert any(name.startswith("reelwright/profiles/builtin/") for name in names)
    assert not [name for name in names if "__pycache__" in name or name.startswith("tests")]


def test_the_source_archive_can_be_tested_where_it_is_unpacked(archives: Path) -> None:
    with tarfile.open(next(archives.glob("*.tar.gz"))) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    for wanted in ("README.md", "LICENSE", "protocol/README.md", "protocol/vectors.json", "tests/interpreters.py"):
        assert wanted in names


def test_from_the_wheel_alone_a_plan_is_made_and_a_winder_simulated(archives: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(next(archives.glob("*.whl"))) as wheel:
        wheel.extractall(tmp_path / "site")
    job = tmp_path / "job.toml"
    job.write_text(JOB.format(link_loss="pause", pauses="[]"))
    environment = {**os.environ, "PYTHONPATH": str(tmp_path / "site"), "REELWRIGHT_HOME": str(tmp_path)}

    def python(*words: str) -> str:
        done = subprocess.run(
            [sys.executable, *words],
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
            env=environment,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    where = python("-c", "from reelwright.simulator import firmware_folder; print(firmware_folder())").strip()
    assert Path(where) == tmp_path / "site" / "reelwright" / "firmware"
    assert json.loads(python("-m", "reelwright", "plan", str(job), "--json"))["target_pulses"] == 1050
    winder = subprocess.Popen(
        [sys.executable, "-m", "reelwright", "simulate", str(job), "--pace", "max"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        env=environment,
    )
    assert winder.stdout is not None
    port = json.loads(winder.stdout.readline())["port"]
    try:
        told = python("-m", "reelwright", "wind", str(job), "--port", port, "--json").splitlines()
    finally:
        winder.terminate()
        winder.communicate(timeout=10)
    assert json.loads(told[-1])["state"] == "finished"
