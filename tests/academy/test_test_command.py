import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from academy.management.commands import test as command
from academy.management.commands.test import Check, Command


def check(name: str, code: str) -> Check:
    return Check(name=name, command=(sys.executable, "-c", code))


@pytest.fixture(autouse=True)
def checks(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = (
        check("steady", "print('all is well')"),
        check("loud", "print('the switch sticks'); raise SystemExit(3)"),
        check("last", ""),
    )
    monkeypatch.setattr(command, "CHECKS", rows)
    monkeypatch.setattr(command, "NAMES", tuple(row.name for row in rows))


def test_a_failed_check_fails_the_command_and_the_rest_still_run(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        call_command("test")
    assert stopped.value.code == 1
    out, err = capsys.readouterr()
    assert [line.split()[:2] for line in out.splitlines() if line.endswith(" s")] == [
        ["steady", "passed"],
        ["loud", "FAILED"],
        ["last", "passed"],
    ]
    assert "1 of 3 checks failed" in err
    assert err.rstrip().endswith(": loud.")


def test_only_a_failed_check_s_output_is_shown(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        call_command("test")
    out = capsys.readouterr().out
    assert "the switch sticks" in out
    assert "all is well" not in out


def test_named_checks_run_alone(capsys: pytest.CaptureFixture[str]) -> None:
    call_command("test", "last", "steady")
    out = capsys.readouterr().out
    assert "loud" not in out
    assert "All 2 checks passed" in out


def test_an_unknown_name_is_answered_with_the_known_ones() -> None:
    with pytest.raises(
        CommandError, match=r"^There is no check “pyttest”\. The checks are: steady, loud, last\.$"
    ):
        call_command("test", "pyttest")


def test_what_follows_the_dashes_is_pytest_s(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    note = f"import sys; open({str(tmp_path / 'handed')!r}, 'w').write(' '.join(sys.argv[1:]))"
    monkeypatch.setattr(command, "CHECKS", (check("pytest", note),))
    monkeypatch.setattr(command, "NAMES", ("pytest",))
    Command().run_from_argv(["manage.py", "test", "pytest", "--", "-k", "venturi", "-x"])
    assert (tmp_path / "handed").read_text() == "-k venturi -x"


def test_a_check_sees_the_site_s_defaults(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MAKEPOINT_HTTPS", "0")
    monkeypatch.setenv("DATABASE_URL", "postgres://bench/")
    environment = command.clean_environment(var="/somewhere")
    assert {name: value for name, value in environment.items() if name.startswith("MAKEPOINT")} == {
        "MAKEPOINT_VAR": "/somewhere"
    }
    assert environment["DATABASE_URL"] == "postgres://bench/"
    assert "DJANGO_SETTINGS_MODULE" not in environment
