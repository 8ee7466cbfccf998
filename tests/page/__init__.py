"""Tests of the phone page."""
