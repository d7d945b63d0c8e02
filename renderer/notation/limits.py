"""How much a definition or an option may ask for.

Bounds well beyond what practice needs, so that a slip of the finger gives a message and not an
endless run.
"""

SLOWEST_TEMPO, FASTEST_TEMPO = 10, 400
"""Beats per minute."""

LEAST_SOUNDING_MS = 15
"""A note that sounds for less than this is not heard as a note (judgement: three crossfades)."""

LEAST_GRACENOTE_MS = 20
"""Where a tempo leaves no more room, a gracenote is this short at least: a finger up and down again
as quickly as players manage (judgement; from memory they play 30 to 60 ms)."""

LONGEST_FILE_BYTES = 4_000_000
LONGEST_TEXT = 20_000
LONGEST_TITLE = 500
"""Characters."""

MOST_LINES = 5_000
MOST_RUN_NOTES = 64
MOST_REPEATS = 10_000
MOST_RUNGS = 100
MOST_STAGES = 16
"""Ways to play movements one after the other in a track."""
MOST_COUNT_IN_BARS = 8
MOST_GAP_BARS = 8

LONGEST_TRACK_HOURS = 12

MOST_DAYS, MOST_MINUTES = 100, 480
"""Of a plan of practice, and a day of it."""
MOST_PLAYINGS = 1_000
"""Of a line in a plan of practice."""

LARGEST_SCORE_BYTES = 32_000_000
"""Of a MusicXML file, unpacked."""

MOST_WRITTEN_NOTES = 50_000
MOST_BARS = 20_000
"""Of a score, repeats played out."""

FINEST_UNIT = 64
"""Of the note value that a score's meter counts: a 64th."""

LARGEST_COUNT = 999
"""Of the beats that a score's meter counts: a bar without bar lines may be a whole tune."""

MOST_QUARTERS = 100_000
"""Of a score, repeats played out: half a day at 140 beats a minute."""

MOST_DIVISIONS = 1_000_000_000
"""Of a whole note: a score's lengths are all counted in one share of it, no finer than this."""

MOST_TIME_BITS = 4_096
"""Of the share of a second that a score's beats are all counted in, whatever its tempos: some 250
different tempos with decimals. Exact arithmetic with longer numbers takes minutes."""
