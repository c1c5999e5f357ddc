"""One reading becomes milligrams with an uncertainty; how well each mass is known."""

from __future__ import annotations
