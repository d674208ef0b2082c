"""The steps of the day, one file a command: gather, think, write."""
