"""Readers of what was printed that are not ours."""

from __future__ import annotations

import shutil
import subprocess
import unicodedata
from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def read(tmp_path: Path) -> Callable[[bytes], str]:
    """Text of a PDF in the order of its content, by poppler's pdftotext."""
    tool = shutil.which("pdftotext")
    if tool is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")

    def text_of(pdf: bytes) -> str:
        file = tmp_path / "paper.pdf"
        file.write_bytes(pdf)
        done = subprocess.run([tool, "-raw", str(file), "-"], capture_output=True, check=True)
        return unicodedata.normalize("NFC", " ".join(done.stdout.decode().split()))

    return text_of


@pytest.fixture
def scan(tmp_path: Path) -> Callable[[bytes], list[str]]:
    """What a scanner reads off a printed page, by zbar's zbarimg."""
    scanner, printer = shutil.which("zbarimg"), shutil.which("pdftoppm")
    if scanner is None or printer is None:
        pytest.skip("zbarimg (zbar-tools) or pdftoppm (poppler-utils) is not installed")

    def codes_of(pdf: bytes) -> list[str]:
        file = tmp_path / "paper.pdf"
        file.write_bytes(pdf)
        page = tmp_path / "page"
        subprocess.run([printer, "-r", "150", "-png", str(file), str(page)], check=True)
        images = sorted(str(path) for path in tmp_path.glob("page*.png"))
        asked = [scanner, "--quiet", "--raw", "-Sdisable", "-Sqrcode.enable", *images]
        done = subprocess.run(asked, capture_output=True, check=False)
        assert done.returncode in (0, 4)  # 4: a page without a code, as most second pages are
        return done.stdout.decode().split()

    return codes_of
