"""ABC 2.1: text to exercises and back."""
