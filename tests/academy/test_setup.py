"""manage.py prepares its own environment. Nothing here reaches a network."""

import ast
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import pytest

import manage

ROOT = Path(manage.__file__).parent
BASE_PYTHON = sys._base_executable
PYPROJECT = """
[build-system]
requires = ["setuptools"]
[project]
name = "bench"
version = "1"
dependencies = ["pint"]
[tool.ruff]
line-length = 110
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with a small project in it, and no environment yet."""
    root = tmp_path / "checkout"
    (root / "academy").mkdir(parents=True)
    shutil.copy(ROOT / "manage.py", root)
    (root / "pyproject.toml").write_text(PYPROJECT)
    (root / "academy" / "constraints.txt").write_text("pint==0.25\n")
    (root / "academy" / "machine.py").write_text("")
    return root


@pytest.fixture
def script(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """The script as it is in that checkout, with an environment whose Python runs."""
    place(monkeypatch, checkout)
    monkeypatch.setattr(manage, "INSIDE", False)
    manage.PYTHON.parent.mkdir(parents=True)
    manage.PYTHON.symlink_to(sys.executable)
    return manage


def place(monkeypatch: pytest.MonkeyPatch, root: Path) -> None:
    monkeypatch.setattr(manage, "ROOT", root)
    monkeypatch.setattr(manage, "VENV", root / ".venv")
    monkeypatch.setattr(manage, "PYTHON", root / ".venv" / "bin" / "python")
    monkeypatch.setattr(manage, "STAMP", root / ".venv" / "made-from")
    monkeypatch.setattr(manage, "CONSTRAINTS", root / "academy" / "constraints.txt")


def builds(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, object]]:
    """Note each build that would be made, and make none."""
    noted: list[dict[str, object]] = []
    monkeypatch.setattr(manage, "build", lambda **how: noted.append(how))
    return noted


def run(*command: object, **environment: str) -> subprocess.CompletedProcess[str]:
    path = {"PATH": "/usr/bin:/bin"}
    return subprocess.run(command, env=path | environment, capture_output=True, text=True, check=False)


# The script itself


def test_an_older_python_is_refused_in_one_line() -> None:
    pretend = (
        "import runpy, sys; sys.version_info = (3, 9, 2); runpy.run_path('manage.py', run_name='__main__')"
    )
    done = subprocess.run(
        [sys.executable, "-c", pretend], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr == f"Makepoint needs Python 3.11 or newer; {sys.executable} is 3.9.\n"


def test_an_older_python_reads_the_script_far_enough_to_refuse() -> None:
    ast.parse((ROOT / "manage.py").read_text(encoding="utf-8"), feature_version=(3, 6))


def test_the_script_starts_with_the_standard_library_alone() -> None:
    tree = ast.parse((ROOT / "manage.py").read_text(encoding="utf-8"))
    imports = [node for node in tree.body if isinstance(node, ast.Import | ast.ImportFrom)]
    names = {alias.name for node in imports if isinstance(node, ast.Import) for alias in node.names}
    names |= {str(node.module) for node in imports if isinstance(node, ast.ImportFrom)}
    assert {name.partition(".")[0] for name in names} <= sys.stdlib_module_names


# The stamp


def depend_on_more(root: Path) -> None:
    rewrite(root / "pyproject.toml", '"pint"', '"pint", "numpy"')


def build_otherwise(root: Path) -> None:
    rewrite(root / "pyproject.toml", '"setuptools"', '"setuptools>=77"')


def pin_another_version(root: Path) -> None:
    rewrite(root / "academy" / "constraints.txt", "0.25", "0.26")


def rewrite(file: Path, old: str, new: str) -> None:
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


@pytest.mark.parametrize("change", [depend_on_more, build_otherwise, pin_another_version])
def test_what_is_installed_is_in_the_stamp(script: ModuleType, change: Callable[[Path], None]) -> None:
    before = script.stamp()
    change(script.ROOT)
    assert script.stamp() != before


def test_the_stamp_is_the_same_as_long_as_nothing_changes(script: ModuleType) -> None:
    assert script.stamp() == script.stamp()


def test_the_checkout_s_path_is_in_the_stamp(
    script: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = script.stamp()
    elsewhere = checkout.with_name("elsewhere")
    checkout.rename(elsewhere)
    place(monkeypatch, elsewhere)
    assert script.stamp() != before


def test_the_environment_s_own_python_is_in_the_stamp(script: ModuleType) -> None:
    before = script.stamp()
    script.PYTHON.unlink()
    script.PYTHON.write_text("#!/bin/sh\necho another version\n")
    script.PYTHON.chmod(0o755)
    assert script.stamp() != before


def test_the_settings_of_tools_are_not_in_the_stamp(script: ModuleType) -> None:
    before = script.stamp()
    rewrite(script.ROOT / "pyproject.toml", "110", "100")
    assert script.stamp() == before


# When the environment is built


@pytest.mark.parametrize(
    ("made_with", "wanted", "expected"),
    [
        pytest.param("", "", 0, id="what is there is enough"),
        pytest.param("test", "", 0, id="one with the test tools serves every command"),
        pytest.param("", "test", 1, id="one without them doesn't serve the tests"),
    ],
)
def test_an_environment_is_built_only_when_it_lacks_something(
    script: ModuleType, monkeypatch: pytest.MonkeyPatch, made_with: str, wanted: str, expected: int
) -> None:
    noted = builds(monkeypatch)
    script.prepare(extra=made_with)
    noted.clear()
    script.prepare(extra=wanted)
    assert len(noted) == expected


def test_an_environment_copied_along_with_its_checkout_is_built_anew(
    script: ModuleType, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    noted = builds(monkeypatch)
    script.prepare(extra="")
    shutil.copytree(checkout, checkout.with_name("copy"), symlinks=True)
    place(monkeypatch, checkout.with_name("copy"))
    script.prepare(extra="")
    assert [how["moved"] for how in noted] == [False, True]


@pytest.mark.usefixtures("script")
def test_two_commands_at_once_build_one_environment(checkout: Path) -> None:
    code = (
        "import time, manage\n"
        "manage.build = lambda **how: (time.sleep(0.3), open('built', 'a').write('once '))\n"
        "manage.prepare(extra='')\n"
    )
    command = [BASE_PYTHON, "-c", code]
    both = [subprocess.Popen(command, cwd=checkout, stderr=subprocess.DEVNULL) for _ in range(2)]
    assert [process.wait(timeout=60) for process in both] == [0, 0]
    assert (checkout / "built").read_text() == "once "


# What can go wrong


def test_someone_else_s_environment_is_left_alone(checkout: Path, tmp_path: Path) -> None:
    theirs = tmp_path / "theirs"
    subprocess.run([BASE_PYTHON, "-m", "venv", "--without-pip", theirs], check=True)
    done = run(theirs / "bin" / "python", checkout / "manage.py", "check")
    assert done.returncode == 1
    assert done.stderr == (
        f"The environment {theirs} has no Django: install this project in it, or deactivate it.\n"
    )
    assert not (checkout / ".venv").exists()


def test_a_python_without_venv_says_what_to_install(
    script: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    script.PYTHON.unlink()
    monkeypatch.setattr(script.shutil, "which", lambda _: None)
    monkeypatch.setattr(script.importlib.util, "find_spec", lambda _: None)
    with pytest.raises(SystemExit, match=r"^This Python lacks venv: .* python3-venv\)\.$"):
        script.build(extra="", moved=False)


def test_no_network_is_said_in_one_line(checkout: Path) -> None:
    done = run(
        BASE_PYTHON,
        checkout / "manage.py",
        "check",
        PIP_CONFIG_FILE="/dev/null",
        PIP_INDEX_URL="http://127.0.0.1:9/",  # the discard port, where nobody listens
        PIP_RETRIES="1",
        UV_DEFAULT_INDEX="http://127.0.0.1:9/",
    )
    assert done.returncode == 1
    assert done.stderr.splitlines()[1:] == [
        "No package index answers: connect to the network and run the same command again."
    ]
    assert not (checkout / ".venv" / "made-from").exists()


@pytest.mark.parametrize(
    ("printed", "said"),
    [
        pytest.param(
            ["Collecting pint", "ERROR: No space left on device", "note: a hint"],
            "No space left on device",
            id="pip names the error",
        ),
        pytest.param(["Collecting pint", "Killed"], "Killed", id="the last line otherwise"),
    ],
)
def test_a_failed_install_is_said_in_one_line(printed: list[str], said: str) -> None:
    code = f"print({chr(10).join(printed)!r}); raise SystemExit(2)"
    with pytest.raises(SystemExit) as stopped:
        manage.run(sys.executable, "-c", code)
    assert stopped.value.code == f"The environment couldn't be prepared: {said}"
