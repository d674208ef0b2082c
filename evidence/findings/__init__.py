"""The standard findings: neutral words for what inspectors see most, as data, and their match."""

from evidence.findings.catalogue import catalogue, standard
from evidence.findings.match import VERSION, search, suggest

__all__ = ["VERSION", "catalogue", "search", "standard", "suggest"]
