"""A film that is wider than its roll, as panels."""
