"""The PDF reader: one page's content streams to `Artwork`. Start reading at `reader`."""
