"""The screens: each answers one person's question, and has its styles beside it."""
