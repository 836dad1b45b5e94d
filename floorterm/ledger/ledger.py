"""The ledger of a plant: the chain, and the people who sign in it with their PINs."""

from floorterm.entries import Draft, Entry, clean_text
from floorterm.ledger import people as crew
from floorterm.ledger import reading
from floorterm.ledger.chain import Chain
from floorterm.ledger.faults import OneTimePinError, UnknownPersonError
from floorterm.ledger.guards import CLOSING
from floorterm.ledger.pins import check_rules, hash_pin, issue_pin, matches, outdated
from floorterm.ledger.seal import SEAL_MADE, Seal, seal_value
from floorterm.ledger.transaction import Transaction
from floorterm.people import Person


class Ledger(Chain):
    """An opened ledger. Made with `Ledger.create`, opened with `Ledger.open`; see `Chain` for threads."""

    # --- people ---------------------------------------------------------------------------------

    def people(self) -> tuple[Person, ...]:
        """Everybody who signs or ever signed, in order of their codes."""
        return self._read(reading.people)

    def person(self, code: str) -> Person:
        """Somebody by code, active or not. Raises UnknownPersonError."""
        found = self._read(lambda connection: reading.person(connection, code))
        if found is None:
            raise UnknownPersonError(code=code)
        return found

    def by_badge(self, badge: str) -> Person | None:
        """Whose badge was scanned, active or not; None if it is nobody's."""
        return self._read(lambda connection: reading.person_of_badge(connection, badge)) if badge else None

    def add_person(
        self,
        person: Person,
        pin: str | None,
        *,
        by: str = "",
        one_time: bool = False,
        identity: str = "",
        terminal: str = "",
    ) -> Entry:
        """Add somebody. `by` is an administrator's code, empty only for the first administrator.

        Without a PIN nobody can sign as them until `reset_pin` issues one. Raises CodeTakenError,
        BadgeTakenError, PersonFaultError, PinRuleError, RefusedError.
        """
        phc = None
        if pin is not None:
            check_rules(pin, person.code)
            phc = hash_pin(pin, self._pin_profile)
        act = crew.PeopleAct(by=by, identity=identity, terminal=terminal)
        return self.unit_of_work(
            lambda transaction: crew.add(transaction, act, person, phc, one_time=one_time)
        )

    def change_person(
        self, person: Person, *, by: str, reason: str = "", identity: str = "", terminal: str = ""
    ) -> Entry:
        """Make what is known of `person.code` equal to `person`. An inactive person stays so.

        Raises UnknownPersonError, InactivePersonError, BadgeTakenError, PersonFaultError, RefusedError.
        """
        act = crew.PeopleAct(by=by, identity=identity, terminal=terminal, reason=reason)
        return self.unit_of_work(lambda transaction: crew.change(transaction, act, person))

    def disable_person(
        self, code: str, *, by: str, reason: str = "", identity: str = "", terminal: str = ""
    ) -> Entry:
        """Disable a code for good; it is never given to anybody else.

        Raises UnknownPersonError, InactivePersonError, RefusedError.
        """
        act = crew.PeopleAct(by=by, identity=identity, terminal=terminal, reason=reason)
        return self.unit_of_work(lambda transaction: crew.disable(transaction, act, code))

    # --- PINs -----------------------------------------------------------------------------------

    def reset_pin(self, code: str, by: str, *, identity: str = "", terminal: str = "") -> str:
        """Issue a one-time PIN, after `by` has checked who the person is. It is shown once and kept nowhere.

        Raises UnknownPersonError, InactivePersonError, RefusedError (nobody resets their own).
        """
        pin = issue_pin(code)
        phc = hash_pin(pin, self._pin_profile)
        act = crew.PeopleAct(by=by, identity=identity, terminal=terminal)
        self.unit_of_work(lambda transaction: crew.reset(transaction, act, code, phc))
        return pin

    def recover_pin(
        self, code: str, by: str, witness: str, reason: str, *, identity: str = "", terminal: str = ""
    ) -> str:
        """Issue a one-time PIN to an administrator whom no other administrator can help.

        `by` and `witness` are two others who supervise or administer and gave their PINs; both stand in the entry
        with the reason. Raises UnknownPersonError, InactivePersonError, RefusedError, TextError.
        """
        pin = issue_pin(code)
        phc = hash_pin(pin, self._pin_profile)
        act = crew.PeopleAct(
            by=by, witness=witness, identity=identity, terminal=terminal, reason=clean_text(reason)
        )
        self.unit_of_work(lambda transaction: crew.reset(transaction, act, code, phc))
        return pin

    def check_pin(self, code: str, pin: str, terminal: str = "") -> Person:
        """Whose PIN this is. A try counts before it is checked, so that none escapes the count.

        Raises UnknownPersonError, InactivePersonError, NoPinError, PinOffError, PinBlockedError (`until`),
        WrongPinError, or OneTimePinError when the PIN is right and has to be changed first. All but the first
        two are PinErrors: facts that a caller may pass over for acts that make people safer.
        """
        person, row = self._checked(code, pin, terminal)
        if row.one_time:
            raise OneTimePinError(code=code)
        return person

    def change_pin(self, code: str, old: str, new: str, terminal: str = "") -> Entry:
        """Somebody chooses their own PIN. Raises as `check_pin` does, and PinRuleError."""
        _, row = self._checked(code, old, terminal)
        check_rules(new, code)
        crew.check_other(old, new)
        phc = hash_pin(new, self._pin_profile)
        return self.unit_of_work(lambda transaction: crew.choose(transaction, code, row.phc, phc, terminal))

    def _checked(self, code: str, pin: str, terminal: str) -> tuple[Person, crew.Pin]:
        outcome = self.unit_of_work(lambda transaction: crew.begin_try(transaction, code, terminal))
        if isinstance(outcome, Exception):
            raise outcome
        person, row = outcome
        if not matches(row.phc, pin):  # slow on purpose, and outside the transaction
            raise self.unit_of_work(lambda transaction: crew.failed_try(transaction, code, terminal))
        fresh = hash_pin(pin, self._pin_profile) if outdated(row.phc, self._pin_profile) else None
        self.unit_of_work(lambda transaction: crew.good_try(transaction, code, terminal, row.phc, fresh))
        return person, row

    # --- the end --------------------------------------------------------------------------------

    def goes_on_at(self) -> str:
        """Where the chain goes on if this ledger is closed, "" while it is open. A closed one can still be read."""
        newest = self.entries(newest_first=True, limit=1)
        return str(newest[0].value.get("to", "?")) if newest and newest[0].kind in CLOSING else ""

    # --- seals ----------------------------------------------------------------------------------

    def seal(self, to: str, *, person: str = "", terminal: str = "") -> Seal:
        """Seal the chain as it is now, and record that it was done and where the seal goes (`to`)."""
        key = self.new_id()

        def work(transaction: Transaction) -> Seal:
            start = self.start()
            seal = Seal.of(transaction.head(), start.plant)
            draft = Draft(
                kind=SEAL_MADE, key=key, person=person, terminal=terminal, value=seal_value(seal, to)
            )
            transaction.append((draft,))
            return seal

        return self.unit_of_work(work)
