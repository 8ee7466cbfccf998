"""Secrets stand in one file that only the watch may read, and in no message."""

import shutil
import stat
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.config import Secrets, load, load_secrets, snapshot
from monitor.errors import SetupError

ROOT = Path(__file__).parents[2]
TEXT = 'smtp = "hunter2"\ngateway = "swordfish"\n'


def write(folder: Path, text: str, mode: int = 0o600) -> Path:
    """A secrets file with a mode."""
    path = folder / "secrets.toml"
    path.write_text(text, encoding="utf-8")
    path.chmod(mode)
    return path


def test_secrets_by_name(folder: Path) -> None:
    """Secrets are a mapping of text to text."""
    write(folder, TEXT)
    secrets = load_secrets(folder)
    assert {"smtp": "hunter2", "gateway": "swordfish"} == dict(secrets)
    assert 2 == len(secrets)
    assert "hunter2" == secrets["smtp"]


def test_no_file_no_secrets(folder: Path) -> None:
    """A rig that needs no secrets has no such file."""
    assert {} == dict(load_secrets(folder))


def test_printing_shows_names_only(folder: Path) -> None:
    """No way of printing secrets shows their values."""
    write(folder, TEXT)
    secrets = load_secrets(folder)
    for text in (repr(secrets), str(secrets), f"{secrets}", repr([secrets])):
        assert "smtp" in text
        assert "hunter2" not in text


def test_secrets_cannot_be_changed() -> None:
    """Secrets are read once and stay as they are."""
    values = {"smtp": "hunter2"}
    secrets = Secrets(values)
    values["smtp"] = "other"
    assert "hunter2" == secrets["smtp"]
    with pytest.raises(TypeError):
        secrets["smtp"] = "other"  # type: ignore[index]
    with pytest.raises(AttributeError):
        secrets.smtp = "other"  # type: ignore[attr-defined]


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644, 0o666, 0o620, 0o601])
def test_open_file_is_refused(folder: Path, mode: int) -> None:
    """A file that others can read is refused, and the remedy is the command that closes it."""
    path = write(folder, TEXT, mode)
    for function in (load, load_secrets):
        with pytest.raises(SetupError) as caught:
            function(folder)
        (problem,) = caught.value.problems
        assert "secrets.toml" == problem.file
        assert f"Run: chmod 600 {path}" == problem.remedy
        assert "hunter2" not in str(caught.value)
    command = problem.remedy.removeprefix("Run: ").split()
    path.chmod(int(command[1], 8))
    assert 0o600 == stat.S_IMODE(path.stat().st_mode)
    assert "hunter2" == load_secrets(folder)["smtp"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("smtp = hunter2\n", 1),
        ('a = "b"\nsmtp = "hunter2\n', 2),
        ("hunter2\n", 1),
        ('smtp = "x"\nsmtp = "hunter2"\n', 2),
        ('smtp = ["hunter2"]\n', 1),
        ('[smtp]\npassword = "hunter2"\n', 1),
        ('smtp = "hunter2\\u0007"\n', 1),
        ('a = "b"\nsmtp = ""\n', 2),
        ("smtp = 123456\n", 1),
        ('smtp = "' + "hunter2" * 400 + '"', 1),
    ],
)
def test_wrong_secret_is_not_shown(folder: Path, text: str, line: int) -> None:
    """A secret that cannot be used is told by line, without its value."""
    write(folder, text)
    with pytest.raises(SetupError) as caught:
        load_secrets(folder)
    assert [("secrets.toml", line)] == [(item.file, item.line) for item in caught.value.problems]
    assert "hunter2" not in str(caught.value)
    assert "123456" not in str(caught.value)


def use_secret(folder: Path, name: str) -> None:
    """A channel that names a secret."""
    path = folder / "channels.toml"
    with path.open("a", encoding="utf-8") as file:
        file.write(f'user = "watch"\npassword_secret = "{name}"\n')


def test_secret_that_is_named_must_be_there(folder: Path) -> None:
    """A channel cannot name a secret that is not in the file."""
    write(folder, TEXT)
    use_secret(folder, "smpt")
    with pytest.raises(SetupError) as caught:
        load(folder)
    (problem,) = caught.value.problems
    assert ("channels.toml", 7) == (problem.file, problem.line)
    assert 'Did you mean "smtp"?' == problem.remedy


def test_named_secret_without_any_file(folder: Path) -> None:
    """Without a secrets file no secret can be named."""
    use_secret(folder, "smtp")
    with pytest.raises(SetupError, match=r"is not a name in secrets\.toml"):
        load(folder)


def test_broken_secrets_are_told_once(folder: Path) -> None:
    """A secrets file that cannot be made out is no reason to doubt the names in use."""
    write(folder, "smtp = \n")
    use_secret(folder, "smtp")
    with pytest.raises(SetupError) as caught:
        load(folder)
    assert ["secrets.toml"] == [item.file for item in caught.value.problems]


def test_snapshot_holds_no_secret(folder: Path) -> None:
    """What is stored with a version holds the other files whole, and no secret."""
    write(folder, TEXT)
    use_secret(folder, "smtp")
    texts = snapshot(folder)
    assert ["rig.toml", "limits.toml", "duty.toml", "channels.toml", "run.toml"] == list(texts)
    assert "hunter2" not in str(texts)


def test_set_up_holds_no_secret(folder: Path) -> None:
    """A set-up names the secret and does not hold it."""
    write(folder, TEXT)
    use_secret(folder, "smtp")
    assert "hunter2" not in repr(load(folder))


OTHER_USER = """\
import os, sys
from pathlib import Path
from monitor.config import load, load_secrets
from monitor.errors import SetupError
folder = Path(sys.argv[1])
load(folder)  # brings in what Python imports late and the other user may not reach
if os.geteuid() == 0:
    os.setgroups([])
    os.setgid(65534)
    os.setuid(65534)
print(load(folder).rig.label)
try:
    load_secrets(folder)
except SetupError as error:
    print(error)
"""


@pytest.fixture
def open_folder(folder: Path) -> Iterator[Path]:
    """The small rig where other users can reach it; the folders of pytest are closed to them."""
    with tempfile.TemporaryDirectory() as name:
        copy = Path(name)
        for path in folder.iterdir():
            shutil.copy(path, copy)
            (copy / path.name).chmod(0o644)
        copy.chmod(0o755)
        yield copy


def test_others_may_check_without_secrets(open_folder: Path) -> None:
    """Who may not read the secrets can still load the rest, but not the secrets."""
    write(open_folder, TEXT, 0o000)
    use_secret(open_folder, "smtp")
    command = [sys.executable, "-c", OTHER_USER, str(open_folder)]
    run = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=ROOT, check=False)
    assert "" == run.stderr
    label, refusal = run.stdout.splitlines()
    assert "Tavrin" == label
    assert refusal.startswith("secrets.toml: file: cannot be read")
