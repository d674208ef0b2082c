"""Say which tone curve lifts a dark picture and how much, or leave it alone.

Hides the histogram, the choice of gain, the curve and the noise filter. Leaves to others where
pictures come from and what is written under them.
"""

from evidence.light.lift import VERSION, by_stops, correct, propose, replay

__all__ = ["VERSION", "by_stops", "correct", "propose", "replay"]
