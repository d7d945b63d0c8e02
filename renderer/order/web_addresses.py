"""Web addresses that QR codes on sheets lead to: how long they may be, and what stands in them."""

LONGEST_LINK = 400
LONGEST_LINE_LINK = 120
"""Bytes of a web address, and of one that each line has; its QR code stays coarse enough to be read
from paper (judgement)."""

EXERCISE_FIELD, LINE_FIELD = "{exercise}", "{line}"
"""What stands in a web address for the exercise and the line that it is the address of."""
