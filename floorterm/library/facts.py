"""The closed set of facts that `when:` may ask for, each with the kind of its value."""

from collections.abc import Mapping
from types import MappingProxyType

FACTS: Mapping[str, type[bool] | type[str]] = MappingProxyType(
    {
        "incoming_unscented": bool,
        "outgoing_unscented": bool,
        "darker_to_lighter": bool,
        "lighter_to_darker": bool,
        "colour_change": bool,
        "allergen_governs": bool,
        "allergen_limits": bool,
        "whole_oil_label": bool,
        "claim_gate": bool,  # a claim stands in the way that flushing cannot reach
        "shared_tank": bool,  # the incoming fragrance's tank on this line is shared
        "same_tank": bool,
        "format_change": bool,
        "leave_on_incoming": bool,
        # darker_to_lighter, incoming_unscented, claim_gate, or an outgoing fragrance tagged dark
        "strip_down": bool,
        "line": str,
        "incoming_tank": str,
        "outgoing_tank": str,
    }
)
