from pathlib import Path

import pytest

from academy import machine
from academy.machine import Need


@pytest.fixture
def gauge(tmp_path: Path) -> Need:
    """Something that is here once a file is."""
    return Need(
        name="Gauge",
        purpose="Pressure readings",
        packages=("gauge", "gauge-tubes"),
        is_here=(tmp_path / "gauge").exists,
    )


@pytest.fixture
def debian(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A Debian whose apt-get notes what it was asked, and brings the gauge."""
    apt_get = tmp_path / "bin" / "apt-get"
    apt_get.parent.mkdir()
    apt_get.write_text(
        f'#!/bin/sh\necho "$*" >> {tmp_path}/asked\n[ "$2" = update ] || touch {tmp_path}/gauge\n'
    )
    apt_get.chmod(0o755)
    monkeypatch.setenv("PATH", f"{apt_get.parent}:/usr/bin:/bin")
    monkeypatch.setattr(machine.os, "geteuid", lambda: 0)
    return tmp_path


def test_root_on_debian_installs_what_is_missing(gauge: Need, debian: Path) -> None:
    assert machine.make_ready(needs=(gauge,)) == ()
    update, install = (debian / "asked").read_text().splitlines()
    assert "update" in update
    assert install.endswith("gauge gauge-tubes")


def test_nothing_is_asked_for_what_is_here(gauge: Need, debian: Path) -> None:
    (debian / "gauge").touch()
    assert machine.make_ready(needs=(gauge,)) == ()
    assert not (debian / "asked").exists()


def test_nobody_but_root_installs(gauge: Need, debian: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(machine.os, "geteuid", lambda: 1000)
    assert machine.make_ready(needs=(gauge,)) == (gauge,)
    assert not (debian / "asked").exists()


def test_a_failed_installation_says_why_and_goes_on(
    gauge: Need, debian: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (debian / "bin" / "apt-get").write_text("#!/bin/sh\necho trying\necho no such package\nexit 100\n")
    assert machine.make_ready(needs=(gauge,)) == (gauge,)
    assert "apt-get install: no such package\n" in capsys.readouterr().err


def test_the_advice_names_the_purpose_and_the_packages(gauge: Need) -> None:
    assert gauge.advice == (
        "Pressure readings need Gauge: install it (Debian: apt-get install gauge gauge-tubes)."
    )


def test_the_command_gives_advice_in_a_line_each_and_fails(
    gauge: Need, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(machine.os, "geteuid", lambda: 1000)
    monkeypatch.setitem(machine.NEEDS, "gauge", gauge)
    assert machine.main(names=["gauge"]) == 1
    assert capsys.readouterr().err == f"{gauge.advice}\n"


@pytest.mark.parametrize("names", [["anvil"], []])
def test_the_command_lists_what_can_be_named(names: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert machine.main(names=names) == 2
    assert (
        capsys.readouterr().err == "Name one or more of: venv, pango, poppler, qpdf, chromium, postgresql.\n"
    )
