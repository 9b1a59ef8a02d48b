"""Neutral drawings and the backends that write them. Knows arrays and words only, neither builds nor documents."""
