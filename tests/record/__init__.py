"""Tests of the record of a run."""
