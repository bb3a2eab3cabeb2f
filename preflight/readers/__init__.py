"""Readers: bytes to `Artwork`, one package a format, chosen by content and never by name."""
