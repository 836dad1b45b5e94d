"""What the shell's screens say, as pure functions of the record: no terminal is needed to read the wording."""
