"""Tests of what moves slowly: means by the hour, trends, heat ahead."""
