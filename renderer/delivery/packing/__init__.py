"""Packs on disk: making what is not there yet, the overview, files to send."""
