"""What each fingering of a chanter sounds: bore and holes to pitch and spectrum.

`chanters.toml` holds two bores with their holes. `bore` works out how air moves in them by
transfer matrices, `playing` what a reed makes of it: for every set of closed holes, how far its
pitch is from that of the note it is named by, and how its partials differ from those of the nine
notes on average. `fit` moves the holes until the nine notes have their pitches:

    python -m renderer.sound.acoustics.fit_holes        # prints the places of the holes

Lengths are in metres, frequencies in hertz, impedances in pascal seconds per cubic metre.
"""
