"""`python -m floorterm` is the same as `floorterm`."""

from floorterm.entry import main

if __name__ == "__main__":
    main()
