"""From bytes and a name to an exercise with room for its movements."""
