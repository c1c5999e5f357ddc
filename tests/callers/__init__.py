"""Holds the sums against the product: what is computed must be asked by somebody."""
