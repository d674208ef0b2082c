"""Where one visit ends and the next begins, and which room returns.

Hides how a picture is summed up as a place (:mod:`.places`), how gaps and places together
cut the day into visits (:mod:`.cuts`) and how a returning room is recognised (:mod:`.returning`).
Nothing is merged or named here unasked.
"""

from evidence.rooms.cuts import joints, visits
from evidence.rooms.learning import ConfirmedDay, refit
from evidence.rooms.places import LENGTH, VERSION, appearance, too_dark
from evidence.rooms.returning import RoomSuggestion, suggest_rooms
from evidence.rooms.weights import WEIGHTS, Weights

__all__ = [
    "LENGTH",
    "VERSION",
    "WEIGHTS",
    "ConfirmedDay",
    "RoomSuggestion",
    "Weights",
    "appearance",
    "joints",
    "refit",
    "suggest_rooms",
    "too_dark",
    "visits",
]
