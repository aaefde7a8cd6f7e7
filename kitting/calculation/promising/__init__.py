"""Who gets the stock: promises by date, kit by kit, with the proof that no better plan exists."""

from kitting.calculation.promising.promise import promise

__all__ = ["promise"]
