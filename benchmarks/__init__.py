"""What the speed claims rest on: each module prints a table, or JSON with ``--format json``."""
