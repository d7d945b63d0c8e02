"""Recordings to facts: what a chanter and its drones sound, heard from a recording."""
