"""The standard findings: neutral words for what inspectors see most, as data, and their match."""

from evidence.findings.catalogue import REFERENCE_CAUTION, SYSTEMS, Catalogue, packaged
from evidence.findings.cautions import caution
from evidence.findings.match import VERSION, search, suggest

__all__ = ["REFERENCE_CAUTION", "SYSTEMS", "VERSION", "Catalogue", "caution", "packaged", "search", "suggest"]
