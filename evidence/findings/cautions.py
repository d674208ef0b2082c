"""Say for each kind of danger what the usual caution is.

Own words after what utilities, fire services and health agencies commonly advise (common practice);
local rules and the licensed trade go before them. None says that anything is without danger.
"""

from __future__ import annotations

from typing import Final

_GAS: Final = "On a smell of gas go outdoors, touch no switch or flame, and call the gas supplier."

CAUTIONS: Final = {
    "asbestos": "Do not disturb it; only a test can tell what it is.",
    "carbon monoxide": "If an alarm sounds or anyone feels unwell, go outdoors and call for help.",
    "collapse": "Keep people off it and away from below it until it has been assessed.",
    "crushing": "Keep people away from the moving door; do not use its opener.",
    "cuts": "Keep children from playing against the glass.",
    "disease": "Do not touch or stir up what the animals left.",
    "drowning": "Do not let children near the water unwatched.",
    "electrocution": "Keep away, with ladders and poles too; call the electric utility.",
    "escape": "Plan another way out until this has been changed.",
    "explosion or scald": "Stop using the appliance and keep away from the valve and its pipe.",
    "fall": "Keep people, children above all, away until this has been repaired.",
    # It stands beside missing smoke alarms and doors too, so "it" would be the wrong thing to stop using.
    "fire": "On unusual heat, a smell of burning or smoke, stop using what gives it, get everyone out and "
    "call the fire service.",
    "fire or explosion": _GAS,
    "gas": _GAS,
    "growth": "A picture cannot tell what it is; leave it undisturbed until it has been assessed.",
    "head injury": "Warn whoever uses the stair.",
    "impact": "Keep away from it, and do not try to adjust it.",
    "lead": "Do not sand or scrape it; a picture cannot tell what is in it.",
    "scald": "Try hot water with care, and keep away from where it may come out.",
    "sewer gas": "Air the room if it smells; bring no flame near an open drain.",
    "shock": "Do not touch it or take off a cover; leave it to a licensed electrician.",
    "structural failure": "On new cracks, noises or sagging, keep out from under it and call an engineer.",
    "tip-over and burn": "Let no child lean or stand on the open oven door.",
    "water contamination": "Leave no hose lying in a bucket, pool or sprayer.",
}
"""A caution for each kind of danger that a packaged row names."""

GENERAL: Final = "Keep away from it until someone licensed for such work has looked at it."
"""Stands where an inspector's own row names a danger of another kind."""


def caution(hazard: str) -> str:
    """Give the usual caution for a kind of danger; "" when none is named.

    Examples
    --------
    >>> caution("collapse")
    'Keep people off it and away from below it until it has been assessed.'
    """
    return CAUTIONS.get(hazard.strip().casefold(), GENERAL) if hazard.strip() else ""
