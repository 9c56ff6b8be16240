#!/usr/bin/env python3
"""Ebbmark's command line.

Where the packages of the project are installed, this is Django's ordinary `manage.py`, with
one command more: `test` runs pytest. Where they are not, it first makes an environment of its
own in `.venv` from the pinned lock, then starts itself again inside it. Until then it needs
nothing but Python's standard library.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
VENV_PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMP = VENV / "installed-from"
UNFINISHED = VENV / "unfinished"
KEEPS_UP_TO_DATE = {"demo", "serve", "test"}
OLDEST = (3, 11)
STARTED_AGAIN = "EBBMARK_STARTED_AGAIN"


class SetUpError(Exception):
    """Why the environment could not be made, in words for the person at the keyboard."""


def main(arguments: list[str]) -> None:
    if sys.version_info < OLDEST:
        sys.exit(
            f"Ebbmark needs Python {OLDEST[0]}.{OLDEST[1]} or later; this is {sys.version.split()[0]}."
            " If a newer one is installed, name it: python3.11 manage.py demo"
        )
    command = arguments[0] if arguments else ""
    lock = ROOT / ("requirements-dev.lock" if command == "test" else "requirements.lock")
    if not is_ready(lock, command):
        if os.environ.pop(STARTED_AGAIN, ""):
            sys.exit(f"{VENV.name} was made but cannot run the project: delete it and try again.")
        try:
            with only_one_at_a_time():
                prepare(lock)
        except SetUpError as why:
            sys.exit(f"\n{why}")
        except KeyboardInterrupt:
            sys.exit("\nSet-up stopped. The same command begins it again.")
        start_again(arguments)
    os.environ.pop(STARTED_AGAIN, None)
    run(command, arguments)


def run(command: str, arguments: list[str]) -> None:
    """Hand over to pytest or to Django."""
    if command == "test":
        import pytest  # noqa: PLC0415  (installed only by now)

        os.chdir(ROOT)
        sys.exit(pytest.main(arguments[1:]))
    from django.core.management import execute_from_command_line  # noqa: PLC0415

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "scheduler.settings")
    execute_from_command_line([sys.argv[0], *arguments])


# --- Is there an environment that can run the command? ---


def is_ready(lock: Path, command: str) -> bool:
    """Tell whether this very interpreter can run the command.

    Our own `.venv` is brought up to date for the everyday commands; an environment that
    somebody else made is theirs to keep, and only has to have every package.
    """
    if Path(sys.prefix).resolve() == VENV.resolve():
        if command in KEEPS_UP_TO_DATE:
            return is_installed(lock)
        return importlib.util.find_spec("django") is not None and not UNFINISHED.exists()
    if importlib.util.find_spec("django") is None:
        return False
    missing = [name for name in locked_names(lock) if not has_package(name)]
    if missing:
        print(f"Django is here, but not {', '.join(missing[:5])}: using {VENV.name} instead.")
    return not missing


def has_package(name: str) -> bool:
    from importlib import metadata  # noqa: PLC0415  (older Pythons must reach the message above)

    try:
        metadata.version(name)
    except metadata.PackageNotFoundError:
        return False
    return True


def locked_names(lock: Path) -> list[str]:
    """Return the packages that every machine needs: those pinned without a condition."""
    pins = re.findall(r"^([A-Za-z0-9._-]+)==([^ \n]+)( ;)?", read(lock), flags=re.MULTILINE)
    return [name for name, _version, condition in pins if not condition]


def read(lock: Path) -> str:
    try:
        return lock.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SetUpError(f"{lock.name} is missing from {lock.parent}.") from None


def fingerprint(lock: Path) -> str:
    return f"{lock.name} {hashlib.sha256(read(lock).encode()).hexdigest()}"


def is_installed(lock: Path) -> bool:
    """Tell whether `.venv` was completely installed from the lock as it is now."""
    if UNFINISHED.exists() or not STAMP.exists():
        return False
    return fingerprint(lock) in STAMP.read_text(encoding="utf-8").splitlines()


# --- Making the environment ---


def prepare(lock: Path) -> None:
    """Make `.venv`, or bring it up to date; leave a mark while at it."""
    if is_installed(lock) and venv_works():
        return
    if VENV.exists() and (UNFINISHED.exists() or not venv_works()):
        print(f"{VENV.name} is unfinished or broken: beginning afresh.", flush=True)
        shutil.rmtree(VENV)
    is_new = not VENV.exists()
    VENV.mkdir(exist_ok=True)
    UNFINISHED.touch()
    uv = working_uv()
    if is_new:
        make_venv(with_pip=not uv)
    print(f"Installing what {lock.name} names into {VENV.name} (once) …", flush=True)
    if not (uv and install_with_uv(uv, lock)):
        install_with_pip(lock)
    stamps = [fingerprint(lock)]
    if lock.name == "requirements-dev.lock":
        stamps.append(fingerprint(ROOT / "requirements.lock"))
    STAMP.write_text("\n".join(stamps) + "\n", encoding="utf-8")
    UNFINISHED.unlink()
    print("Ready.", flush=True)


def venv_works() -> bool:
    """Tell whether the interpreter in `.venv` starts and is new enough."""
    try:
        probe = subprocess.run(
            [VENV_PYTHON, "-c", f"import sys; sys.exit(sys.version_info < {OLDEST})"],
            check=False,
            capture_output=True,
        )
    except OSError:
        return False
    return probe.returncode == 0


def make_venv(*, with_pip: bool) -> None:
    if with_pip and importlib.util.find_spec("ensurepip") is None:
        UNFINISHED.unlink()
        VENV.rmdir()
        raise SetUpError(
            "This Python has no ensurepip, so it cannot make an environment.\n"
            "On Debian or Ubuntu: apt install python3-venv. Then the same command again."
        )
    version = ".".join(str(part) for part in sys.version_info[:3])
    print(f"Making {VENV.name} with Python {version} …", flush=True)
    options = [] if with_pip else ["--without-pip"]
    made = subprocess.run([sys.executable, "-m", "venv", *options, VENV], check=False)
    if made.returncode:
        raise SetUpError(f"Python could not make {VENV}; its own words are above.")


def working_uv() -> str | None:
    """Return uv if it is on PATH and starts; it installs several times faster than pip."""
    uv = shutil.which("uv")
    if uv is None:
        return None
    probe = subprocess.run([uv, "--version"], check=False, capture_output=True)
    return uv if probe.returncode == 0 else None


def install_with_uv(uv: str, lock: Path) -> bool:
    where = ["--python", str(VENV_PYTHON), "--require-hashes", "-r", str(lock)]
    installed = subprocess.run(
        [uv, "pip", "install", *where],
        check=False,
        env={**os.environ, "UV_PYTHON_DOWNLOADS": "never"},
    )
    if installed.returncode:
        print("uv could not; trying pip.", flush=True)
        subprocess.run([VENV_PYTHON, "-m", "ensurepip"], check=False, stdout=subprocess.DEVNULL)
    return installed.returncode == 0


def install_with_pip(lock: Path) -> None:
    """Install and tell how far it has come, one plain line for every tenth package."""
    options = ["--no-input", "--progress-bar", "off", "--disable-pip-version-check"]
    pip = subprocess.Popen(
        [VENV_PYTHON, "-m", "pip", "install", *options, "--require-hashes", "-r", lock],
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        errors="replace",
    )
    assert pip.stdout is not None
    seen, expected = 0, len(locked_names(lock))
    with pip:
        for line in pip.stdout:
            if line.startswith(("Collecting ", "Requirement already satisfied")):
                seen += 1
                if seen % 10 == 0:
                    print(f"  {seen} of about {expected} packages fetched", flush=True)
            elif line.startswith("Installing collected"):
                print("  unpacking them; the longest part …", flush=True)
    if pip.returncode:
        raise SetUpError(
            "The packages could not be installed; pip's own words are above.\n"
            "Most often: no network, or no room on the disk. The same command begins again."
        )


@contextlib.contextmanager
def only_one_at_a_time() -> Iterator[None]:
    """Let a second terminal wait while the first one makes the environment."""
    try:
        import fcntl  # noqa: PLC0415  (not on every system)
    except ImportError:
        yield
        return
    folder = ROOT / ".ebbmark"
    folder.mkdir(mode=0o700, exist_ok=True)
    with (folder / "set-up.lock").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def start_again(arguments: list[str]) -> None:
    """Become the same command inside `.venv`."""
    sys.stdout.flush()
    os.environ[STARTED_AGAIN] = "yes"
    command = [str(VENV_PYTHON), str(ROOT / "manage.py"), *arguments]
    if os.name == "nt":
        sys.exit(subprocess.call(command))
    os.execv(command[0], command)  # noqa: S606  (no shell wanted)


if __name__ == "__main__":
    main(sys.argv[1:])
