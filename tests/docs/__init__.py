"""Tests of the pages for people: what they name exists, and what exists is named."""
