"""What a piper knows: the ornament book, what can be played from where, and what the fingers do.

Turns the names of movements into slots (`ornaments`, `choose`), printed gracenote groups back into
movements (`recognise`), and written music into finger changes, flags and advice (`fingering`,
`report`). Everything here is in musical time; nothing knows how long a beat lasts.
"""
