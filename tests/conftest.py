"""Fixtures that many tests share. Rows come from `tests.make`."""

from __future__ import annotations
