"""The units, the pinned packages and the scripts that install them."""

import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
SERVICES = sorted((DEPLOY / "units").glob("*.service"))
PROGRAM = "/opt/holdwater/current/bin/holdwater"


def run(*words: str) -> "subprocess.CompletedProcess[str]":
    """Run a program of the system."""
    return subprocess.run(words, capture_output=True, text=True, timeout=60, check=False)


def test_units_are_understood_without_a_word(tmp_path: Path) -> None:
    """The service manager's own check says nothing; it ends with 0 even for unknown keys."""
    for unit in (DEPLOY / "units").iterdir():
        # The program is not installed here; everything else is checked as it stands.
        text = unit.read_text("utf-8").replace(PROGRAM, "/bin/true")
        (tmp_path / unit.name).write_text(text.replace("file:/usr/share/holdwater", "file:/tmp"))
    checked = run("systemd-analyze", "verify", "--man=no", *map(str, sorted(tmp_path.iterdir())))

    assert "" == checked.stderr


@pytest.mark.parametrize("unit", SERVICES, ids=lambda unit: str(unit.name))
def test_units_are_shut_tight(unit: Path) -> None:
    """The exposure that the service manager counts is at most 2.0 of 10."""
    checked = run("systemd-analyze", "security", "--offline=true", "--threshold=20", str(unit))

    assert 0 == checked.returncode, checked.stdout.splitlines()[-1]


def test_the_watch_is_kept_alive_for_ever() -> None:
    """It is started again however often it fails, and is ended when it stops scanning."""
    unit = (DEPLOY / "units" / "holdwater.service").read_text("utf-8")

    for line in ("StartLimitIntervalSec=0", "Restart=always", "Type=notify", "WatchdogSec=60"):
        assert line in unit.splitlines()
    assert "time-sync.target" not in re.sub(r"#.*", "", unit)


def test_every_package_is_pinned_with_hashes() -> None:
    """Each package of the running program stands in requirements.txt with a version and hashes."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    extras = project["optional-dependencies"]
    wanted = [*project["dependencies"], *extras["gpio"], *extras["modbus"], *extras["serial"]]
    names = {re.split(r"[^A-Za-z0-9_-]", word)[0].lower().replace("_", "-") for word in wanted}
    blocks = re.split(r"\n(?=\S)", (DEPLOY / "requirements.txt").read_text("utf-8").strip())
    pinned = {block.partition("==")[0]: block for block in blocks}

    assert set() == names - set(pinned)
    assert [] == [name for name, block in pinned.items() if "--hash=sha256:" not in block]


@pytest.mark.skipif(shutil.which("dash") is None, reason="needs dash")
@pytest.mark.parametrize("script", sorted(DEPLOY.glob("*.sh")), ids=lambda path: str(path.name))
def test_scripts_are_plain_shell(script: Path) -> None:
    """Each script is read without an error by the plain shell of the board."""
    assert "" == run("dash", "-n", str(script)).stderr


def test_dry_run_says_what_it_would_do_and_does_nothing(tmp_path: Path) -> None:
    """Nothing is made, not even a folder."""
    done = run("sh", str(DEPLOY / "install.sh"), "--dry-run", "--root", str(tmp_path))

    assert 0 == done.returncode, done.stderr
    assert "would: cp" in done.stdout
    assert [] == list(tmp_path.iterdir())


def test_unknown_options_are_refused() -> None:
    """With the way to the help."""
    done = run("sh", str(DEPLOY / "install.sh"), "--frobnicate")

    assert 1 == done.returncode
    assert "--help" in done.stderr
