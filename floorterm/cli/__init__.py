"""The command line: thin; each command calls one function of a room and hands the value to a writer.

Command modules are imported only when their command runs, because people wait for imports.
"""

import contextlib
import importlib
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from typing import Any

import click

from floorterm import __version__

# command -> (module, attribute)
_COMMANDS: Mapping[str, str] = MappingProxyType(
    {
        "check": "floorterm.cli.check:check",
        "worksheet": "floorterm.cli.worksheet:worksheet",
        "late": "floorterm.cli.late:late",
        "flush": "floorterm.cli.flush:flush",
        "plan": "floorterm.cli.plan:plan",
        "calibrate": "floorterm.cli.calibrate:calibrate",
        "lockout": "floorterm.cli.lockout:lockout",
        "report": "floorterm.cli.report:report",
        "lye": "floorterm.cli.lye:lye",
        "wall": "floorterm.cli.open:wall",
        "serve": "floorterm.cli.serve:serve",
        "demo": "floorterm.cli.open:demo",
        "open": "floorterm.cli.open:open_plant",
        "status": "floorterm.cli.now:status",
        "next": "floorterm.cli.now:next_step",
        "locks": "floorterm.cli.now:locks",
        "shift": "floorterm.cli.now:shift",
        "init": "floorterm.cli.ledger:init",
        "verify": "floorterm.cli.verify:verify",
        "seal": "floorterm.cli.seal:seal",
        "checkpoint": "floorterm.cli.checkpoint:checkpoint",
        "backup": "floorterm.cli.copies:backup",
        "drill": "floorterm.cli.copies:drill",
        "restore": "floorterm.cli.copies:restore",
        "migrate": "floorterm.cli.copies:migrate",
        "export": "floorterm.cli.ledger:export",
        "move": "floorterm.cli.ledger:move",
        "archive": "floorterm.cli.copies:archive",
        "lots": "floorterm.cli.lots:lots",
        "holds": "floorterm.cli.ledger:holds",
        "people": "floorterm.cli.people:people",
        "health": "floorterm.cli.health:health",
        "service": "floorterm.cli.service:service",
        "launcher": "floorterm.cli.launcher:launcher",
    }
)


@contextlib.contextmanager
def _inert_faults() -> Iterator[None]:
    """Arguments that a fault of usage names back are shown as text: what is a command to a terminal is replaced."""
    try:
        yield
    except click.UsageError as fault:
        from floorterm.entries import visible  # noqa: PLC0415  only faults need it

        told = fault.format_message()
        if visible(told) == told:
            raise
        raise click.UsageError(visible(told), ctx=fault.ctx) from fault


class _LazyGroup(click.Group):
    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        with _inert_faults():
            return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        with _inert_faults():
            return super().invoke(ctx)

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        target = _COMMANDS.get(cmd_name)
        if target is None:
            return None
        module, _, attribute = target.partition(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl(list(_HELP.items()))


_HELP: Mapping[str, str] = MappingProxyType(
    {
        "open": "Open the plant at this terminal (also without any command).",
        "wall": "Every line for a large display on the wall; nothing can be signed there.",
        "serve": "Serve the terminal to browsers on the plant's own network, behind a sign-in.",
        "demo": "Open a copy of the invented demo plant.",
        "check": "Validate the checklists and compose every pair on every line.",
        "worksheet": "Print a worksheet: the paper fallback.",
        "late": "Enter a step that was done on paper while the record was down.",
        "flush": "How many kg to flush for a pair, and why.",
        "plan": "In which order a line loses the least to the day's changeovers.",
        "calibrate": "What check samples say about a line: a proposal.",
        "lockout": "Judge lockout records, rule by rule; periodic inspections.",
        "report": "Documents to print and keep: lockout audit, a lockout, an inspection, a procedure's sheet, a shift.",
        "lye": "Dilution, temperature and spill of lye: estimates, never a permission.",
        "status": "Every line as plain lines, without a screen.",
        "next": "The current step of every work, as plain lines.",
        "locks": "Isolation points and the locks on them, as plain lines.",
        "shift": "The shift that is on, or the review of one, as plain lines.",
        "lots": "Lots taken into use and filled; what touched what, in both directions.",
        "init": "Create the ledger and its first administrator.",
        "people": "Who may sign: add, change, list, training, disable, new PIN.",
        "holds": "State what a line holds.",
        "verify": "Verify the ledger or an export, and what the seals given confirm.",
        "seal": "Seal the record: a line and a square code to keep elsewhere.",
        "checkpoint": "Signed checkpoints, and that of two the later extends the earlier.",
        "backup": "Copy the ledger while it is in use, and verify the copy.",
        "drill": "Prove that a backup can be restored, and record the drill.",
        "migrate": "Bring the ledger to this version's layout, with a verified copy first.",
        "restore": "Put a verified backup in the ledger's place; two people sign.",
        "export": "Write the ledger as lines that a stranger can verify.",
        "archive": "Write a year of the record as a file that the next year's carries on.",
        "move": "Move the ledger from its file to another one or to a database server.",
        "health": "Ledger, clock, disk and backup of this machine at a glance.",
        "service": "A unit file that keeps a terminal running on a console from boot on.",
        "launcher": "A script that keeps a terminal open and cleans up before each start.",
    }
)


@click.group(cls=_LazyGroup, invoke_without_command=True)
@click.version_option(__version__, prog_name="floorterm")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Changeovers of a bar-soap finishing line: checklists, interlocks, flush, sign-offs.

    The record says what was recorded; it never says that a machine is safe. The site's own procedures,
    local codes and a competent person prevail.
    """
    if ctx.invoked_subcommand is None:
        from floorterm.cli.open import open_plant  # noqa: PLC0415  only when the terminal opens

        ctx.invoke(open_plant)
