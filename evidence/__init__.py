"""From a house inspector's camera card to an issued, verifiable photo appendix."""

__version__ = "0.1.0"
