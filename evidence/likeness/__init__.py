"""Is this the same view taken again? Descriptions of pictures, and sets made of them."""

from evidence.likeness.groups import group, group_and_relate, relate
from evidence.likeness.prints import VERSION, Likeness, describe, pack, unpack
from evidence.likeness.same_view import Pair, Verdict, compare

__all__ = [
    "VERSION",
    "Likeness",
    "Pair",
    "Verdict",
    "compare",
    "describe",
    "group",
    "group_and_relate",
    "pack",
    "relate",
    "unpack",
]
