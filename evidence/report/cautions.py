"""What every issued document must say besides what was seen."""

from __future__ import annotations

from evidence.findings import REFERENCE_CAUTION
from evidence.report.contents import Contents
from evidence.report.plain import one_line


def cautions(contents: Contents) -> tuple[str, ...]:
    """Give the cautions that every issued document carries, one to a paragraph.

    Our own words for what the trade's standards of practice and the guides to photographs as
    evidence ask to be said.
    """
    name = one_line(contents.inspector)
    inspector = f"The inspector ({name})" if name else "The inspector"
    mold = "mold" if contents.language == "en-US" else "mould"
    reference = (REFERENCE_CAUTION,) if any(f.reference.strip() for f in contents.findings) else ()
    return (
        "Danger first: if you smell gas, or see scorched wiring, a flue that is loose or apart, or a part"
        " of the structure giving way, stop using it, keep away, and call the utility, the fire service"
        " or a licensed trade at once.",
        "This appendix shows what could be seen on the day of the inspection. What was hidden, covered,"
        " locked or out of reach is not in it. It is not a check against a building code, not a warranty,"
        " and not an engineer's opinion.",
        "The law, the locally adopted code and the makers' instructions decide what is required; where"
        " anything here differs from them, they govern.",
        *reference,
        "Leave repairs to trades licensed for the work. Do not climb onto a roof, enter an attic or crawl"
        " space, or open a panel on the strength of a picture.",
        "A part of the house without a photo is not thereby free of defects. What could not be seen is"
        " listed with the reason.",
        f"Asbestos, lead, {mold} and pests cannot be told from a photograph; ask the specialist licensed for"
        " each.",
        "A photo whose caption says “brightened” is a corrected copy, as are photos with an arrow, ring,"
        " box or cover drawn on them. The originals are kept unchanged.",
        "The hash under a photo shows that its original has not changed since it was listed. It does not"
        " show when, where or by whom the photo was taken; camera times are what the camera’s own clock"
        " said.",
        "Software suggested how photos are grouped, which one shows a finding best and which words fit it."
        f" {inspector} confirmed or changed what stands in this document,"
        " except where it is marked “proposed”. The software declares nothing safe.",
    )


def how_to_check(contents: Contents) -> tuple[str, ...]:
    """Tell in a few sentences how a stranger checks photos and edition against the job folder."""
    manifest = contents.manifest_digest or "not recorded"
    record = contents.record_digest or "not recorded"
    return (
        "Each photo's original lies in the job's folder “originals”, at the place the table of photos"
        " gives; its SHA-256, taken with any tool, begins with the 12 digits printed here and stands in"
        " full in “manifest-sha256.txt”. In that folder the command “sha256sum -c manifest-sha256.txt”"
        " checks every original at once.",
        f"SHA-256 of that manifest when this edition was made: {manifest}",
        f"Hash of the last line of the record before this edition: {record}",
    )
