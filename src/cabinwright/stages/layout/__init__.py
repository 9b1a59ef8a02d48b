"""Comparing places where a speaker could go, before anything is cut."""
