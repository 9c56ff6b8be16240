"""Where a site that is told nothing keeps its data and its secret."""

from __future__ import annotations

import re
import stat
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from scheduler import environment

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "kept" / "here"
    monkeypatch.setenv("EBBMARK_DATA", str(folder))
    monkeypatch.delenv("SECRET_KEY", raising=False)
    return folder


def test_the_folder_is_made_for_its_owner_alone(data: Path):
    assert environment.data_folder() == data
    assert stat.S_IMODE(data.stat().st_mode) == 0o700


def test_the_secret_is_made_once_and_kept_from_others(data: Path):
    secret = environment.secret_key()
    assert environment.secret_key() == secret
    assert len(secret) >= 50
    assert stat.S_IMODE((data / "secret_key").stat().st_mode) == 0o600
    assert environment.secret_is_generated()


def test_processes_that_start_together_agree_on_the_secret(data: Path):
    with ThreadPoolExecutor(8) as starting:
        secrets = set(starting.map(lambda _: environment.secret_key(), range(8)))
    assert len(secrets) == 1


def test_a_given_secret_is_taken_and_none_is_made(data: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("SECRET_KEY", "given")
    assert environment.secret_key() == "given"
    assert not environment.secret_is_generated()
    assert not (data / "secret_key").exists()


def test_every_variable_that_is_read_is_in_the_example():
    """Compare the names in the code with those in .env.example, both ways."""
    code = "".join(
        (ROOT / "scheduler" / f"{n}.py").read_text() for n in ("settings", "environment")
    )
    read = set(re.findall(r"env(?:\.\w+)?\(\s*\"([A-Z_]+)\"", code))
    example = (ROOT / ".env.example").read_text()
    listed = set(re.findall(r"^#?([A-Z_]+)=", example, flags=re.MULTILINE))
    assert listed - {"POSTGRES_PASSWORD"} == read
