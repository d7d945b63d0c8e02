"""From bytes and a name to an exercise, and the library of shipped ones."""
