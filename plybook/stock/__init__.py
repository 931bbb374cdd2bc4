"""What is on the shelf, and keeping the stock file up to date."""

from plybook.stock.shelf import Shelf, on_shelf

__all__ = ["Shelf", "on_shelf"]
