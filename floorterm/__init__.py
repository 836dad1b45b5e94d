"""Changeover and safety checklists for bar-soap finishing lines.

The rooms are described in DEVELOPERS.md. Nothing is imported here: each command and each screen
imports the rooms it needs, because people wait for imports.
"""

__version__ = "0.1.0"
