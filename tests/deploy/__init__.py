"""Tests of what puts the program on a board."""
