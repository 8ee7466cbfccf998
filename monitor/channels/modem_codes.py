"""What the error numbers of a modem mean for a text: try again, or leave this path. Pure.

The numbers are those of 3GPP TS 27.005 (section 3.2.5, +CMS ERROR) and TS 27.007 (section 9.2,
+CME ERROR); those from 41 to 69, 300, 304, 310, 311, 314, 316, 320, 331 and 332 are from memory.
Which of them are worth another try is our own grouping: what is about the network or the moment
is, what is about the number, the subscription or the message is not.
"""

from monitor.channels.base import Outcome

STORE_FULL = 322

MESSAGE_ERRORS: dict[int, str] = {
    1: "number not assigned",
    8: "barred by the operator",
    10: "call barred",
    17: "network failure",
    21: "text rejected",
    22: "congestion",
    27: "destination out of service",
    28: "subscriber not identified",
    29: "facility rejected",
    30: "subscriber unknown",
    31: "unspecified",
    38: "network out of order",
    41: "temporary failure",
    42: "congestion",
    47: "resources unavailable",
    50: "facility not subscribed",
    69: "facility not implemented",
    300: "modem failure",
    301: "service of the modem reserved",
    302: "operation not allowed",
    303: "operation not supported",
    304: "message not valid",
    305: "text parameter not valid",
    310: "no SIM",
    311: "SIM wants its PIN",
    313: "SIM failure",
    314: "SIM busy",
    316: "SIM wants its PUK",
    320: "memory failure",
    321: "no such place in the store",
    322: "store full",
    330: "service centre unknown",
    331: "no network",
    332: "network time-out",
    500: "unknown error",
}
"""+CMS ERROR."""

EQUIPMENT_ERRORS: dict[int, str] = {
    3: "operation not allowed",
    4: "operation not supported",
    10: "no SIM",
    11: "SIM wants its PIN",
    12: "SIM wants its PUK",
    13: "SIM failure",
    14: "SIM busy",
    15: "wrong SIM",
    16: "wrong PIN",
    30: "no network",
    31: "network time-out",
    32: "emergency calls only",
    100: "unknown error",
}
"""+CME ERROR."""

_RETRY = {17, 22, 27, 31, 38, 41, 42, 47, 300, 314, 320, 322, 331, 332}
_RETRY_EQUIPMENT = {14, 30, 31, 100}


def outcome_of(code: int | None, is_equipment: bool) -> Outcome:
    """Whether a text that met this error is tried again; None is an error without a number."""
    if code is None:
        return "retry"
    if is_equipment:
        return "retry" if code in _RETRY_EQUIPMENT else "refused"
    return "retry" if code in _RETRY or code >= 500 else "refused"


def words_of(code: int | None, is_equipment: bool) -> str:
    """An error as it is shown."""
    if code is None:
        return "error without a number"
    kind, table = ("CME", EQUIPMENT_ERRORS) if is_equipment else ("CMS", MESSAGE_ERRORS)
    return f"{kind} {code} {table.get(code, 'not listed')}"
