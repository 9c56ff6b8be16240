"""Measurements of speed and quality: run by hand or by CI, never as tests."""
