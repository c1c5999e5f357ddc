"""Goods at the door."""
