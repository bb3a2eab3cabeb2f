"""Jobs: work that is accepted now, done later, and kept for a while."""
