"""The version, in one place; it is part of every report."""

__version__ = "0.1.0"
