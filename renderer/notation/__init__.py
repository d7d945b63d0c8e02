"""The exercise as written: notes, gracenotes, bars and lines in musical time.

Immutable value classes (`score`), the nine notes (`pitch`), lengths as a teacher writes them
(`length`), and one module for each written form that is read or written. Nothing here knows how
long a beat lasts.
"""
