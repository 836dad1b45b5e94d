"""`floorterm launcher`: a script that keeps a terminal open, and sets the screen right before each start.

Whatever is told to go restores the terminal itself; what was killed, or lost its power, could not. For consoles,
terminal emulators on a panel, tmux and serial lines, wherever no service manager does it.
"""

import shlex

import click

from floorterm.cli.common import db_option, language_option, put, terminal_option
from floorterm.cli.service import place_to_print, start_words
from floorterm.ledger import Place

# what a run may leave behind: the other screen, reports of mouse, focus, size and paste, keys by number, no cursor
MODES = (1049, 1000, 1003, 1015, 1006, 1016, 1004, 2004, 2031, 2048)
RESET = "".join(rf"\033[?{mode}l" for mode in MODES) + r"\033[<u\033[0m\033[?25h"

_SCRIPT = """\
#!/bin/sh
# Keeps a floorterm terminal open. What a killed run left behind is set right before each start.
set_right() {{
    printf '{reset}'
    stty sane
}}
while :; do
    set_right
    {start}
    status=$?
    case $status in
    0 | 2 | 129 | 143) # left, no screen possible here, or told to go
        set_right
        exit $status
        ;;
    esac
    sleep 1
done
"""


@click.command(context_settings={"ignore_unknown_options": True})
@terminal_option
@language_option
@db_option
@click.argument("more", nargs=-1, type=click.UNPROCESSED)
def launcher(terminal: str, language: str, db: Place | None, more: tuple[str, ...]) -> None:
    """Print a shell script that opens a terminal again whenever it ends by a fault, and cleans up before.

    MORE are further options of `floorterm open`, as they stand: --plain, --panel 246x184.
    """
    start = (*start_words(terminal, language, place_to_print(db)), *more)
    put(_SCRIPT.format(reset=RESET, start=shlex.join(start)), nl=False)
