"""Holds the documents against the program: what they say must be there, and what is there said."""
