"""Tests of reading: from any form to an exercise with room for its movements."""
