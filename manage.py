#!/usr/bin/env python3
"""Run one of the site's commands, in an environment that is kept ready beside this file."""

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
PYTHON = VENV / "bin" / "python"
STAMP = VENV / "made-from"
CONSTRAINTS = ROOT / "academy" / "constraints.txt"
EXTRAS = {"test": "test", "benchmark": "test", "screenshots": "test"}
INSIDE = VENV.exists() and VENV.samefile(sys.prefix)


def main() -> None:
    if sys.version_info < (3, 11):
        sys.exit(
            "Makepoint needs Python 3.11 or newer; {} is {}.{}.".format(sys.executable, *sys.version_info)
        )
    if INSIDE or sys.prefix == sys.base_prefix:  # someone else's environment is left alone
        prepare(extra=EXTRAS.get("".join(sys.argv[1:2]), ""))
        if not INSIDE:
            os.execv(PYTHON, [str(PYTHON), *sys.orig_argv[1:]])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "academy.settings")
    try:
        from django.core.management import execute_from_command_line
    except ModuleNotFoundError:
        sys.exit(f"The environment {sys.prefix} has no Django: install this project in it, or deactivate it.")
    execute_from_command_line(sys.argv)


def prepare(*, extra: str) -> None:
    import fcntl

    with Path(__file__).open(encoding="utf-8") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)  # waits for another process that is at it
        kept = STAMP.read_text(encoding="utf-8") if STAMP.exists() else ""
        if kept.startswith(stamp()) and kept.endswith(extra):
            return
        print("Preparing .venv: a minute or two the first time.", file=sys.stderr)
        build(extra=extra, moved=kept.partition("\n")[0] not in {"", str(ROOT)})
        STAMP.write_text(stamp() + extra, encoding="utf-8")
    # Without these only documents, or the browser tests, don't work: said in a line, and no reason to stop.
    libraries = ["pango", "chromium"] if extra else ["pango"]
    subprocess.run([PYTHON, "-m", "academy.machine", *libraries], cwd=ROOT, check=False)


def stamp() -> str:
    """Return where the environment is, and a digest of all that would make it another one."""
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    parts = [answer("import sys; print(sys.version)"), project["build-system"], project["project"]]
    return f"{ROOT}\n{hashlib.sha256(repr(parts).encode() + CONSTRAINTS.read_bytes()).hexdigest()}\n"


def answer(code: str) -> str:
    """Return what the environment's own Python prints, or nothing where it can't."""
    if not PYTHON.exists():
        return ""
    return subprocess.run([PYTHON, "-Ic", code], capture_output=True, text=True, check=False).stdout


def build(*, extra: str, moved: bool) -> None:
    uv = shutil.which("uv")
    usable = answer("import pip; print('yes')") and not moved
    if (
        not usable and not INSIDE
    ):  # none yet, out of order, or copied here with its scripts pointing elsewhere
        if not uv and not all(map(importlib.util.find_spec, ("venv", "ensurepip"))):
            sys.exit("This Python lacks venv: install it (Debian: apt-get install python3-venv).")
        shutil.rmtree(VENV, ignore_errors=True)
        make = [uv, "venv", "--seed", "--python", sys.executable] if uv else [sys.executable, "-m", "venv"]
        run(*make, VENV)
    install = [uv, "pip", "install", "--python", PYTHON] if uv else [PYTHON, "-m", "pip", "install"]
    run(*install, "--constraint", CONSTRAINTS, "--editable", f"{ROOT}[{extra}]" if extra else ROOT)


def run(*command: object) -> None:
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, check=False)
    if done.returncode == 0:
        return
    if "connection broken" in done.stdout or "Failed to fetch" in done.stdout:
        sys.exit("No package index answers: connect to the network and run the same command again.")
    lines = [line.strip() for line in done.stdout.splitlines() if line.strip()]
    last = next((line for line in reversed(lines) if line.startswith("ERROR: ")), lines[-1])
    sys.exit("The environment couldn't be prepared: " + last.removeprefix("ERROR: "))


if __name__ == "__main__":
    main()
