"""Loads of used goods."""
