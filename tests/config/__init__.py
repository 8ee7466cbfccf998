"""Tests of the configuration folder."""
