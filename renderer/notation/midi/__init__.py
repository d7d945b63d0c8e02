"""MIDI files read to exercises; `renderer.delivery.midi` writes them, since that needs times."""
