"""`python -m renderer`: the command line."""

from renderer.cli import main

if __name__ == "__main__":
    main()
