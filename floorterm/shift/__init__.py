"""One shift: when it runs, what its review shows, who signs it. Pure: no ledger, no screen."""
