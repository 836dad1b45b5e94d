"""Browser access: the terminal on the plant's own network, behind a sign-in.

The library `textual-serve` runs one process of the terminal for every visitor and carries its keys and pictures; it
has no sign-in of its own and takes a websocket from anybody. What stands here is the door in front of it. Whoever
passes the door has only reached the terminal: every act inside is signed there, with a PIN, as at any other terminal.
"""
