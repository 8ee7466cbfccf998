"""Who may use the page: codes, passwords, sessions, and what guessing meets."""

from pathlib import Path

import pytest

from monitor.page.access import ABSOLUTE, ADMISSION, FREE_TRIES, IDLE, Access, Denied
from page.served import CHEAP, NOW, PASSWORD, Clock


class Door:
    """Accounts with clocks that a test sets."""

    def __init__(self, folder: Path) -> None:
        self.wall, self.boot = Clock(NOW), Clock(0.0)
        self.file = folder / "page.db"
        self.access = Access(self.file, self.wall, self.boot, CHEAP)


@pytest.fixture
def door(tmp_path: Path) -> Door:
    """Nobody is admitted yet."""
    return Door(tmp_path)


def test_nobody_can_log_in_at_first(door: Door) -> None:
    """There is no account that somebody did not make."""
    assert not door.access.has_accounts()
    with pytest.raises(Denied, match="Name or password is wrong"):
        door.access.log_in("tavrin", "", "here")


def test_a_code_sets_a_password_once(door: Door) -> None:
    """The code of a person works one time, and the password from then on."""
    code = door.access.admit("tavrin", "act")
    entered = door.access.enter(code.upper(), PASSWORD, "here")

    assert ("tavrin", "act") == (entered.person, entered.role)
    assert "tavrin" == door.access.log_in("tavrin", PASSWORD, "here").person
    with pytest.raises(Denied, match="wrong, used or older"):
        door.access.enter(code, PASSWORD, "here")


def test_a_code_is_good_for_ten_minutes(door: Door) -> None:
    """A code that lay about is none."""
    code = door.access.admit("tavrin", "act")
    door.wall.at += ADMISSION + 1.0

    with pytest.raises(Denied, match="older than ten minutes"):
        door.access.enter(code, PASSWORD, "here")


@pytest.mark.parametrize("password", ["", "1234567", "x" * 129])
def test_passwords_have_a_length(door: Door, password: str) -> None:
    """Too short and too long are refused, and the code is not used up by it."""
    code = door.access.admit("tavrin", "act")
    with pytest.raises(Denied, match="8 to 128 characters"):
        door.access.enter(code, password, "here")
    door.access.enter(code, PASSWORD, "here")


def test_a_new_password_ends_older_sessions(door: Door) -> None:
    """Who has lost a phone gets a new code, and the lost phone is logged out."""
    lost = door.access.enter(door.access.admit("tavrin", "act"), PASSWORD, "here")
    found = door.access.enter(door.access.admit("tavrin", "act"), PASSWORD + "9", "here")

    assert door.access.visitor(lost.token) is None
    assert found == door.access.visitor(found.token)


def test_sessions_end(door: Door) -> None:
    """Unused for a fortnight, in any case after sixty days, or by log-out."""
    begun = door.access.enter(door.access.admit("tavrin", "act"), PASSWORD, "here")
    for _ in range(5):
        door.wall.at += IDLE - 1.0
        if door.wall.at - NOW < ABSOLUTE:
            assert begun == door.access.visitor(begun.token)
    assert door.access.visitor(begun.token) is None

    idle = door.access.log_in("tavrin", PASSWORD, "here")
    door.wall.at += IDLE + 1.0
    assert door.access.visitor(idle.token) is None

    gone = door.access.log_in("tavrin", PASSWORD, "here")
    door.access.log_out(gone.token)
    assert door.access.visitor(gone.token) is None


def test_tokens_and_passwords_are_not_in_the_file(door: Door) -> None:
    """Who steals the file cannot log in with what stands in it, and others cannot read it."""
    begun = door.access.enter(door.access.admit("tavrin", "act"), PASSWORD, "here")
    kept = door.file.read_bytes()

    assert begun.token.encode() not in kept
    assert PASSWORD.encode() not in kept
    assert 0o600 == door.file.stat().st_mode & 0o777
    assert len(begun.token) * 6 >= 128


def test_guessing_pauses_one_address_and_nobody_else(door: Door) -> None:
    """After five wrong passwords an address waits, longer each time; the one on duty does not."""
    door.access.enter(door.access.admit("tavrin", "act"), PASSWORD, "phone")
    for _ in range(FREE_TRIES):
        with pytest.raises(Denied, match="Name or password"):
            door.access.log_in("tavrin", "guess-guess", "attacker")
    with pytest.raises(Denied, match="Try again in 1 seconds"):
        door.access.log_in("tavrin", PASSWORD, "attacker")

    assert "tavrin" == door.access.log_in("tavrin", PASSWORD, "phone").person
    door.boot.at += 1.5
    with pytest.raises(Denied, match="Name or password"):
        door.access.log_in("tavrin", "guess-guess", "attacker")
    with pytest.raises(Denied, match="Try again in 2 seconds"):
        door.access.log_in("tavrin", PASSWORD, "attacker")


def test_removed_people_are_out(door: Door) -> None:
    """Taking an account away ends its sessions."""
    begun = door.access.enter(door.access.admit("tavrin", "act"), PASSWORD, "here")

    assert door.access.remove("tavrin")
    assert door.access.visitor(begun.token) is None
    assert not door.access.remove("tavrin")


def test_roles_include_those_before(door: Door) -> None:
    """Set up may act, act may look, look may not act."""
    may = {
        role: door.access.enter(door.access.admit("x", role), PASSWORD, "here").may("act")
        for role in ("look", "act", "set up")
    }
    assert {"look": False, "act": True, "set up": True} == may
    with pytest.raises(Denied, match="no role"):
        door.access.admit("x", "root")
