"""The project's own SoundFont, computed: tables of partials and strokes to the bytes of an `.sf2`.

`voices.toml` says what each voice is made of. From it, `tones` and `strokes` compute samples
(44.1 kHz, 16 bit, mono), `soundfont` gathers them into presets, and `riff` writes the file.
Everything is computed in double precision from fixed seeds and rounded once, so that the same
bytes come out each time:

    python -m renderer.sound.synthesis            # writes soundfonts/rungwise.sf2
    python -m renderer.sound.synthesis --plots    # and draws what is in it
"""
