"""Lay the job out for the four views as plain values; pure, and every word of them.

A view is a list of parts, each with a digest of what it says, so that a page that is open fetches
only the parts that have changed.
"""

from evidence.review.views.day import unfolded, walk
from evidence.review.views.missing import gap_list
from evidence.review.views.parts import Head, Part, head
from evidence.review.views.sheets import proof
from evidence.review.views.shots import DISTANCES, pictures
from evidence.review.views.wording import count, short
from evidence.review.views.written import findings

__all__ = [
    "DISTANCES",
    "Head",
    "Part",
    "count",
    "findings",
    "gap_list",
    "head",
    "pictures",
    "proof",
    "short",
    "unfolded",
    "walk",
]
