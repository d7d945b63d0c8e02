"""The practice page: exercises to one self-contained HTML file that plays, loops and shows them."""
