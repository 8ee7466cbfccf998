"""Tests of the drivers for what is wired to a small board."""
