"""Spoiled pairs."""
