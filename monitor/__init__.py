"""holdwater: watches the water of a larval-rearing tank and calls people until flow is proven."""

__version__ = "0.1.0"
