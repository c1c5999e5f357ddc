"""Measures the service on one machine, each figure beside one that it can be compared with."""
