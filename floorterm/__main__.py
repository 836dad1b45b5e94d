"""`python -m floorterm` is the same as `floorterm`."""

from floorterm.cli import main

if __name__ == "__main__":
    main()
