"""Cabinwright: design, tune and explain one-off sound systems in customers' cars."""

__version__ = "0.1.0"
