"""Is this the same view taken again? Descriptions of pictures, and sets made of them."""

from evidence.likeness.groups import (
    CompareAll,
    Related,
    compare_all,
    group,
    group_and_relate,
    relate,
)
from evidence.likeness.prints import VERSION, Likeness, describe, pack, unpack
from evidence.likeness.same_view import Pair, Verdict, compare

__all__ = [
    "VERSION",
    "CompareAll",
    "Likeness",
    "Pair",
    "Related",
    "Verdict",
    "compare",
    "compare_all",
    "describe",
    "group",
    "group_and_relate",
    "pack",
    "relate",
    "unpack",
]
