"""The command line's verbs, a few to a module.

Each function is one thin command: it reads, calls the package that does the work, and prints. Heavy
packages are imported inside the command that needs them, so that `rungwise --help` starts at once.
"""
