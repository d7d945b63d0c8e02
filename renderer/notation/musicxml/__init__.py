"""MusicXML 4.0: scores to exercises and back."""
