"""Reads the code on an implant's label, a GS1 message, into the fields of a component. Whoever scanned it checks them."""

from biip import ParseConfig, ParseError
from biip.gs1_messages import GS1Message

from server.fields.field import Value

# Scanners send the separator FNC1 as the sign 1D; a form field makes a space of that, which no GS1 value holds.
_SEPARATORS = ("\x1d", " ")
_SYMBOLOGIES = ("]C1", "]d2", "]e0", "]Q3", "]J1")  # what a scanner may send before a GS1 message
_DEVICE, _LOT, _USE_BY, _SERIAL = "01", "10", "17", "21"


class NotReadable(ValueError):
    """The text is no GS1 message, or one of its parts cannot be. The message is a plain sentence."""


def read_udi(text: str) -> dict[str, Value]:
    """Device number, lot, last day of use and serial number, by the names of the component's fields; only those that it holds.

    Takes what a scanner sends and what is printed below the code, with the identifiers in brackets. Raises NotReadable.
    """
    code = text.strip()
    for prefix in _SYMBOLOGIES:
        code = code.removeprefix(prefix)
    code = code.strip("".join(_SEPARATORS))
    try:
        printed = code.startswith("(")
        message = (
            GS1Message.parse_hri("".join(code.split()))
            if printed
            else GS1Message.parse(code, config=ParseConfig(separator_chars=_SEPARATORS))
        )
    except (ParseError, ValueError) as problem:
        raise NotReadable(
            "This is no GS1 code that can be read: it begins with 01 or (01) and 14 figures. Scan it again, or leave it empty and "
            "copy the label by hand."
        ) from problem
    parts = {each.ai.ai: each for each in message.element_strings}
    if _DEVICE not in parts:
        raise NotReadable("This code has no device number, which begins with 01. Scan the other code on the label.")
    if parts[_DEVICE].gtin is None:
        raise NotReadable("The check figure of the device number is wrong. Scan it again, or copy it once more.")
    found: dict[str, Value] = {"device_identifier": parts[_DEVICE].value}
    if _LOT in parts:
        found["lot"] = parts[_LOT].value
    if _SERIAL in parts:
        found["serial"] = parts[_SERIAL].value
    if _USE_BY in parts:
        found["expires_on"] = parts[_USE_BY].date
    return found
