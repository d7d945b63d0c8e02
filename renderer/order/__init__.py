"""What is to be made, before anything is made: settings, tracks and their names as plain data."""
