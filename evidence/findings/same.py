"""Words of the trade that mean one thing, and words that mean nothing here.

Written from common usage on American and British sites before any narration was scored.
"""

from __future__ import annotations

from typing import Final

SAME: Final = (
    "alarm detector",
    "receptacle outlet plug socket",
    "toilet commode wc",
    "drywall sheetrock gypsum plasterboard",
    "range stove cooker oven",
    "condenser compressor",
    "faucet tap spigot sillcock bibb bib",
    "cable romex",
    "caulk caulking sealant",
    "gray grey",
    "aluminum aluminium",
    "duct ducting ductwork",
    "flue vent",
    "rotten rot rotted decayed decay punky",
    "rust rusty rusted corroded corrosion corroding",
    "leak drip dripping weep seep",
    "hole opening gap",
    "blocked clogged plugged stuffed obstructed",
    "cracked crack split fractured fracture",
    "missing absent lacking gone",
    "loose wobbly wobbling wobble rocks rocking",
    "bathroom bath washroom lavatory",
    "plaster render stucco",
    "breaker mcb",
    "soil dirt earth ground",
    "plants ivy vines shrubs bushes creeper vegetation",
    "railing rail guardrail balustrade",
    "baluster picket spindle",
    "mold mould mildew fungus",
    "stain stained staining",
    "lid cover",
    "louver louvre",
    "vapor vapour",
    "shut off shutoff isolator disconnect",
    "limb branch bough",
    "soot sooty scorch scorched burnt burned burn charred singed",
    "rodent rat mouse mice",
    "lead flashing",
    "hatch scuttle",
    "wire conductor",
    "panel board consumer",
    "earth grounding",
    "tempered toughened",
    "fill filled full packed",
    "screen spark",
)
"""Each line one meaning; the first word stands for all."""

_FILLER = """
    a about actually all alright also an and any are arent as at be because been being bit but by
    can cant could couldnt did do does doing done dont finding folks for from get gets go goes going
    got gotta guess had has have he her here his i id if ill im in into is isnt it its ive just kind
    know let like look looking looks lot may maybe me mean might my note noted now of ok okay on or
    our out probably quite really said say says see seeing seen she should so some sort tell than
    that thats the their them then there theres these they thing think this those to uh um up us
    very was wasnt way we well were what when where which who will with would yeah yep you youd
    youll your youre
"""
FILLER: Final = frozenset(_FILLER.split())
"""Said in any sentence and telling nothing apart. "No", "not" and "only" are kept: they do."""
