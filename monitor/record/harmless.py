"""Words that a spreadsheet would run as a formula (OWASP ASVS 5.0, 1.2.10)."""

RISKY = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the beginning of a formula."""


def harmless(value: object) -> object:
    """The value of a cell: words that begin like a formula get a mark before them."""
    return f"'{value}" if isinstance(value, str) and value.startswith(RISKY) else value
