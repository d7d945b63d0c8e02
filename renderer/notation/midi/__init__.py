"""MIDI files read to exercises. `delivery.midi_writer` writes them, since that needs times."""
