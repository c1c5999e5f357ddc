"""Spoiled pairs: the step and the cause of in-process scrap, and the yield of each step."""
