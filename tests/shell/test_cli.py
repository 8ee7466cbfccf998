"""The commands: help that fits a screen, exit codes, and what each prints."""

import json
import shutil
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from monitor.cli import SECTIONS, commands, main
from monitor.cli.options import default_state

SAMPLES = Path(__file__).parents[2] / "sample_config"
NAMES = sorted(commands.commands)


def run(*words: str) -> Result:
    """Run a command in this process; errors on purpose come out as they are raised."""
    return CliRunner().invoke(commands, words)


def exit_code(monkeypatch: pytest.MonkeyPatch, *words: str) -> object:
    """Run the program itself; its exit code."""
    monkeypatch.setattr(sys, "argv", ["holdwater", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code


@pytest.mark.parametrize("name", NAMES)
def test_help_fits_a_screen_and_has_an_example(name: str) -> None:
    """Each command explains itself on one screen of 32 lines, with an example to copy."""
    lines = run(name, "--help").output.splitlines()

    assert len(lines) <= 32
    assert any(line.strip().startswith(f"holdwater {name}") for line in lines)


def test_overview_names_every_command() -> None:
    """The overview fits a screen too, and leaves no command out."""
    lines = run("--help").output.splitlines()
    words = {word for line in lines for word in line.split()}

    assert len(lines) <= 30
    assert set() == set(NAMES) - words


def test_no_two_commands_have_one_name() -> None:
    """A later one would silently take the place of the first."""
    names = [str(command.name) for _, own in SECTIONS for command in own]

    assert sorted(set(names)) == sorted(names)


def test_usage_errors_end_with_2(monkeypatch: pytest.MonkeyPatch) -> None:
    """A command that was typed wrong ends with 2."""
    assert 2 == exit_code(monkeypatch, "take", "forty-one")
    assert 2 == exit_code(monkeypatch, "take", "0")
    assert 2 == exit_code(monkeypatch, "take", "41", "--there-in", "-5")
    assert 2 == exit_code(monkeypatch, "apply", str(SAMPLES))
    assert 2 == exit_code(monkeypatch, "frobnicate")


def test_done_ends_with_0(monkeypatch: pytest.MonkeyPatch) -> None:
    """A command that has done its work ends with 0."""
    assert 0 == exit_code(monkeypatch, "check", str(SAMPLES / "first-night"))


@pytest.mark.parametrize(
    "words", [["now"], ["events"], ["take", "41"], ["here", "41"], ["cannot", "41"], ["flow", "41"]]
)
def test_without_a_watch_commands_end_with_1(
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A refusal ends with 1 and says on the error output what to do."""
    assert 1 == exit_code(monkeypatch, *words, "--state", str(tmp_path))
    shown = capsys.readouterr()
    assert "no watch is running" in shown.err
    assert "" == shown.out


@pytest.mark.parametrize("name", ["ostrel-hill", "first-night", "loop-recording"])
def test_samples_pass_their_check(name: str) -> None:
    """Every sample folder is sound, the one for recordings too."""
    assert 0 == run("check", str(SAMPLES / name)).exit_code


def test_texts_are_shown_with_their_count() -> None:
    """Each text stands below its places, grade and turn; the last line counts them."""
    lines = run("texts", str(SAMPLES / "first-night"), "--longest").output.splitlines()

    texts = [line[5:] for line in lines if line.startswith("     ")]
    heads = [line for line in lines[:-2] if not line.startswith("     ")]
    assert [len(text) for text in texts] == [int(head.split()[0]) for head in heads]
    assert (
        f"{len(texts)} texts; the longest takes {max(map(len, texts))} of 160 places." == lines[-1]
    )


def test_check_tells_what_the_rig_can_see() -> None:
    """A sound folder gets a summary, its sights, and the cheapest help."""
    result = run("check", str(SAMPLES / "first-night"))

    assert 0 == result.exit_code
    assert "No problem found." in result.output
    assert "siphon broken after an outage  seen" in result.output
    assert "The cheapest help: pressure sensor in the air line." in result.output


def test_check_tells_every_problem(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A broken folder ends with 1, and each problem stands on a line with file and line."""
    folder = tmp_path / "rig"
    shutil.copytree(SAMPLES / "first-night", folder)
    (folder / "limits.toml").write_text('quiet_hours = "late"\nnonsense = 1\n')

    assert 1 == exit_code(monkeypatch, "check", str(folder))
    assert 2 <= sum("limits.toml:" in line for line in capsys.readouterr().err.splitlines())


def test_apply_checks_before_it_asks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder with a problem is told as such, whether a watch runs or not."""
    words = ["apply", str(tmp_path), "--reason", "test", "--state", str(tmp_path)]

    assert 1 == exit_code(monkeypatch, *words)
    assert "rig.toml" in capsys.readouterr().err


def test_demo_is_played_where_it_is_asked_to(tmp_path: Path) -> None:
    """The demo takes its keyboard from the input and its folder from the option."""
    words = ("demo", "--by-hand", "--speed", "0", "--folder", str(tmp_path / "new"))
    result = CliRunner().invoke(commands, words, input="quit\n")

    assert 0 == result.exit_code
    assert "The night is over: no event was opened." in result.output
    assert (tmp_path / "new" / "record.db").exists()


def test_why_of_an_unknown_event_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without a record, or without such an event in it, why says so."""
    assert 1 == exit_code(monkeypatch, "why", "41", "--state", str(tmp_path))
    assert "there is no archive" in capsys.readouterr().err


def test_demo_leaves_other_files_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The demo writes only into a new or an empty folder."""
    (tmp_path / "mine").touch()

    assert 1 == exit_code(monkeypatch, "demo", "--folder", str(tmp_path))
    assert "is not empty" in capsys.readouterr().err


def test_replay_prints_json_lines(tmp_path: Path) -> None:
    """With --json each line is an object with every key."""
    recording = tmp_path / "night.csv"
    rows = [f"2026-10-18T01:{minute:02d}:00-05:00,0" for minute in range(5)]
    recording.write_text("\n".join(["time,MP", *rows]))
    words = ("replay", str(SAMPLES / "first-night"), str(recording))
    lines = [json.loads(line) for line in run(*words, "--json").output.splitlines()]

    assert ("condition", "mains lost/B1", "true") in [
        (line["what"], line["name"], line["state"]) for line in lines
    ]
    assert len(lines) == len(run(*words).output.splitlines())


def test_replay_ends_with_1_at_a_bad_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A recording that cannot be read is told with file and line."""
    recording = tmp_path / "night.csv"
    recording.write_text("time,MP\n2026-10-18T01:00:00,1\n")
    words = ["replay", str(SAMPLES / "first-night"), str(recording)]

    assert 1 == exit_code(monkeypatch, *words)
    assert f"{recording}:2: time: " in capsys.readouterr().err


def test_state_folder_of_the_service_comes_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The service manager's folder is taken, then the system's, then the user's own."""
    monkeypatch.setenv("STATE_DIRECTORY", f"{tmp_path}/a:{tmp_path}/b")
    assert tmp_path / "a" == default_state()

    monkeypatch.delenv("STATE_DIRECTORY")
    monkeypatch.setattr("monitor.cli.options.SYSTEM_STATE", tmp_path)
    assert tmp_path == default_state()

    monkeypatch.setattr("monitor.cli.options.SYSTEM_STATE", tmp_path / "none")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    assert tmp_path / "state" / "holdwater" == default_state()
