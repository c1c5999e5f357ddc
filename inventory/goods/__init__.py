"""Used goods that people give, sell or drop off: weighed, taken apart, and what they yield."""
