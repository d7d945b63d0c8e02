"""Musical time to real time: gracenote placement, tempo ladder, count-in and the timed events.

Times are exact `Fraction`s of a second from the start of the track; nothing here knows of samples.
"""
