"""manage.py before anything is installed: what it decides, and what it says."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def manage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Load manage.py as a module whose project is an empty folder with two small locks."""
    spec = importlib.util.spec_from_file_location("manage_under_test", ROOT / "manage.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    venv = tmp_path / ".venv"
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "VENV", venv)
    monkeypatch.setattr(module, "VENV_PYTHON", venv / "bin" / "python")
    monkeypatch.setattr(module, "STAMP", venv / "installed-from")
    monkeypatch.setattr(module, "UNFINISHED", venv / "unfinished")
    for lock in ("requirements.lock", "requirements-dev.lock"):
        (tmp_path / lock).write_text("django==5.2.19 \\\n    --hash=sha256:00\n")
    return module


def pretend_to_install(manage: ModuleType, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Replace the slow steps; return the list in which each leaves its mark."""
    done: list[str] = []
    monkeypatch.setattr(manage, "working_uv", lambda: None)
    monkeypatch.setattr(manage, "venv_works", lambda: True)
    monkeypatch.setattr(manage, "make_venv", lambda with_pip: done.append("made"))
    monkeypatch.setattr(manage, "install_with_pip", lambda lock: done.append(lock.name))
    return done


def test_an_old_python_is_told_which_one_is_needed(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(sys, "version_info", (3, 9, 2))
    with pytest.raises(SystemExit, match=r"needs Python 3\.11 or later"):
        manage.main(["demo"])


def test_a_python_without_ensurepip_is_told_what_to_install(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(manage, "working_uv", lambda: None)
    find_spec = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name: None if name == "ensurepip" else find_spec(name)
    )
    with pytest.raises(manage.SetUpError, match="apt install python3-venv"):
        manage.prepare(manage.ROOT / "requirements.lock")
    assert not manage.VENV.exists()


def test_an_environment_is_made_once_and_again_when_the_lock_changes(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    done = pretend_to_install(manage, monkeypatch)
    lock = manage.ROOT / "requirements.lock"
    manage.prepare(lock)
    manage.prepare(lock)
    assert done == ["made", "requirements.lock"]
    lock.write_text(lock.read_text() + "celery==5.7.0 \\\n    --hash=sha256:01\n")
    manage.prepare(lock)
    assert done == ["made", "requirements.lock", "requirements.lock"]


def test_the_environment_for_tests_serves_the_site_too(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    pretend_to_install(manage, monkeypatch)
    manage.prepare(manage.ROOT / "requirements-dev.lock")
    assert manage.is_installed(manage.ROOT / "requirements.lock")


def test_an_interrupted_set_up_is_begun_afresh(manage: ModuleType, monkeypatch: pytest.MonkeyPatch):
    done = pretend_to_install(manage, monkeypatch)

    def interrupted(_lock: Path) -> None:
        (manage.VENV / "half a package").touch()
        raise KeyboardInterrupt

    with monkeypatch.context() as half:
        half.setattr(manage, "install_with_pip", interrupted)
        with pytest.raises(KeyboardInterrupt):
            manage.prepare(manage.ROOT / "requirements.lock")
    manage.prepare(manage.ROOT / "requirements.lock")
    assert done == ["made", "made", "requirements.lock"]
    assert not (manage.VENV / "half a package").exists()
    assert manage.is_installed(manage.ROOT / "requirements.lock")


def test_an_environment_that_cannot_run_the_project_does_not_begin_for_ever(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(manage, "is_ready", lambda lock, command: False)
    monkeypatch.setenv(manage.STARTED_AGAIN, "yes")
    with pytest.raises(SystemExit, match="delete it and try again"):
        manage.main(["demo"])


def test_somebody_elses_environment_needs_every_unconditional_package(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    lock = manage.ROOT / "requirements.lock"
    assert manage.is_ready(lock, "migrate")
    lock.write_text("django==5.2.19 \\\nnot-here==1 ; sys_platform == 'win32' \\\n")
    assert manage.is_ready(lock, "migrate")
    lock.write_text("django==5.2.19 \\\nno-such-package==1 \\\n")
    assert not manage.is_ready(lock, "migrate")
    assert "no-such-package" in capsys.readouterr().out


def test_a_failing_install_says_so_and_stays_unfinished(
    manage: ModuleType, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    """A pip that ends as the real one does without a network."""
    pip = tmp_path / "failing-pip"
    pip.write_text("#!/bin/sh\necho Collecting django\nexit 1\n")
    pip.chmod(0o755)
    monkeypatch.setattr(manage, "VENV_PYTHON", pip)
    monkeypatch.setattr(manage, "working_uv", lambda: None)
    monkeypatch.setattr(manage, "make_venv", lambda with_pip: None)
    with pytest.raises(manage.SetUpError, match="no network"):
        manage.prepare(manage.ROOT / "requirements.lock")
    assert not manage.is_installed(manage.ROOT / "requirements.lock")
    assert manage.UNFINISHED.exists()


def test_the_command_test_hands_its_arguments_to_pytest():
    done = subprocess.run(
        [sys.executable, ROOT / "manage.py", "test", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.splitlines()[-1].startswith("pytest ")


def test_other_commands_are_djangos_own():
    done = subprocess.run(
        [sys.executable, ROOT / "manage.py", "version"], capture_output=True, text=True, check=True
    )
    assert done.stdout.startswith("5.2")
