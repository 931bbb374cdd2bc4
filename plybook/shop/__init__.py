"""The bench side of a part."""

from plybook.shop.work import plan_work

__all__ = ["plan_work"]
