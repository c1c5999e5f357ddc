"""Goods at the door: their givers, the evidence of origin, receipt and private link."""
