"""The terminal: a Textual application on the plant's ledger.

Nothing is imported here: the first lines of a terminal stand before anything else is.
"""
