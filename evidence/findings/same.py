"""Words of the trade that mean one thing, and words that mean nothing here.

Written from common usage on American and British sites before any narration was scored; what came later
(eavestrough, leader, rockwool and the like) came from a list of trade words tried one by one.
"""

from __future__ import annotations

from typing import Final

SAME: Final = (
    "alarm detector",
    "receptacle outlet plug socket",
    "toilet commode loo wc",
    "drywall sheetrock gypsum plasterboard",
    "range stove cooker hob",
    "faucet tap spigot sillcock bibb bib hydrant",
    "cable romex",
    "caulk caulking sealant mastic",
    "gray grey",
    "aluminum aluminium",
    "galvanized galvanised",
    "duct ducting ductwork",
    "rotten rot rotted decayed decay punky mushy mush",
    "rust rusty rusted corroded corrosion corroding crusty",
    "leak leaking leaky seep seeping",
    "blocked clogged plugged obstructed jammed stuffed choked",
    "cracked crack split fractured fracture",
    "no none nothing without missing absent lacking gone lack",
    "loose wobbly wobbling wobble rocks rocking shaky",
    "bathroom bath washroom lavatory",
    "attic loft roofspace",
    "downspout downpipe leader",
    "handrail banister bannister",
    "pan tray",
    "fan extractor",
    "furnace boiler",
    "tank cylinder vessel",
    "waste drain",
    "sag dip belly droop",
    "slope tilt pitch",
    "foggy fogged misted misty",
    "glass glazing",
    "power electricity electric electrical",
    "plants vegetation greenery",
    "ivy vine creeper",
    "shrub bush hedge",
    "railing guardrail balustrade guard",
    "baluster picket spindle",
    "mold mould mildew moldy mouldy fungus",
    "stain stained staining watermark",
    "lid cover",
    "louver louvre",
    "vapor vapour",
    "odor odour smell",
    "shutoff isolator disconnect cutoff",
    "limb branch bough",
    "soot sooty",
    "scorch scorched burnt burned charred singed browned",
    "droppings poop excrement",
    "rodent rat mouse mice vermin",
    "hatch scuttle",
    "wire conductor wiring",
    "tempered toughened",
    "child kid toddler baby",
    "tar goo goop bitumen",
    "spring coil",
    "broken broke snapped break",
    "carpet rug",
    "foundation footing footings",
    "yard garden lawn",
    "walk sidewalk path footpath pavement",
    "drive driveway",
    "vehicle car truck",
    "insulation lagging cellulose fiberglass fibreglass rockwool",
    "batt batts",
    "gutter eavestrough",
    "panel loadcenter",
    "tpr tprv",
    "soil dirt mud",
    "ground earth",
    "clothes clothing",
    "condenser compressor",
    "plastic pvc vinyl",
    "two 2 pair double doubled",
    "three 3",
    "four 4",
    "six 6",
    "upside reversed reverse swapped backwards backward crossed",
)
"""Each line one meaning; the first word stands for all."""

_FILLER = """
    a about actually all alright anywhere also an and any are arent as at be because been being bit but by
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
