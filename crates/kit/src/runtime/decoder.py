

class NotAMessage(ValueError):
    """The bytes are no message of this node; nothing in them is a reading."""


def decode_uplink(port, data):
    """Name of the message, its values by name (None: no reading), and warnings about values outside their range.

    Raises NotAMessage for what is too short, too long, of another port or version, or means nothing.
    """
    return _decode("up", port, bytes(data))


def decode_downlink(port, data):
    """The same for a message to the node."""
    return _decode("down", port, bytes(data))


def describe_downlink(port, data, heard=None):
    """What a message to the node changes, in words: when the next report is expected, once it is heard.

    `heard` is the moment, a datetime with its zone. What is absent or outside its range is left out.
    """
    data = bytes(data)
    form = _form("down", port, data)
    _, values, warnings = _decode_form(form, data)
    outside = {warning.split(" ")[0] for warning in warnings}
    effects = []
    for field in form["fields"]:
        value = values.get(field["name"])
        if "sets" in field and value is not None and field["name"] not in outside:
            effects.append(_effect(field["name"], value, heard, *field["sets"]))
    return effects


def _effect(name, value, heard, unit, seconds, following, only):
    interval = "%s %s" % (repr(value)[:-2] if value == int(value) else repr(value), unit)
    if heard is None:
        when = "once this is received, the next %s is expected within %s" % (following, interval)
    else:
        by = heard + datetime.timedelta(seconds=value * seconds)
        when = "heard at %s, the next %s is expected at %s at the latest" % (_moment(heard), following, _moment(by))
    return "%s %s: %s%s" % (name, interval, when, ", " + only if only else "")


def _moment(moment):
    """Universal time to the second."""
    whole = datetime.datetime.fromtimestamp(math.ceil(moment.timestamp()), datetime.timezone.utc)
    return whole.strftime("%Y-%m-%dT%H:%M" + (":%S" if whole.second else "") + "Z")


def _decode(direction, port, data):
    return _decode_form(_form(direction, port, data), data)


def _form(direction, port, data):
    forms = [form for form in _FORMS if form["direction"] == direction and form["port"] == port]
    if not forms:
        raise NotAMessage("no message travels %s on port %d" % (direction, port))
    for form in forms:
        version = form["version"]
        if version is None or (data and data[0] >> (8 - version[0]) == version[1]):
            return form
    raise NotAMessage("the version is not known here")


def _decode_form(form, data):
    if len(data) != form["bytes"]:
        raise NotAMessage("%d bytes where %s has %d" % (len(data), form["message"], form["bytes"]))
    spare = 8 * form["bytes"] - form["bits"]
    number = int.from_bytes(data, "big")
    if number & ((1 << spare) - 1):
        raise NotAMessage("the bits after the last field are not zero")

    def code_at(offset, bits):
        return (number >> (8 * form["bytes"] - offset - bits)) & ((1 << bits) - 1)

    values = {}
    warnings = []
    for field in form["fields"]:
        _decode_field(field, code_at, values, warnings)
    return form["message"], values, warnings


def _decode_field(field, code_at, values, warnings):
    name = field["name"]
    if field["kind"] == "bytes":
        values[name] = _octets(field, code_at(field["offset"], field["bits"]))
        return
    readings = []
    for part in field.get("parts", [field]):
        code = code_at(part["offset"], part["bits"])
        readings.append((part, _reading(part["name"], code, part["bits"], part["last"], part["saturates"])))
    if len({state == "absent" for _, (state, _) in readings}) == 2:
        raise NotAMessage("%s has one coordinate of two" % name)
    for part, reading in readings:
        values[part["name"]] = _shown(field, part, reading, warnings)
    if "earlier" in field:
        count, bits = field["earlier"]
        begin = field["offset"] + field["bits"]
        earlier = []
        for index in range(count):
            code = code_at(begin + index * bits, bits)
            difference = _reading(name, code, bits, (1 << bits) - 4, True)
            reading = _earlier(field, readings[0][1], difference)
            earlier.append(_shown(field, field, reading, warnings))
        values[name + "_earlier"] = earlier


def _reading(name, code, bits, last, saturates):
    """A state and a code that is a value."""
    ones = (1 << bits) - 1
    if code <= last:
        return "inside", code
    if code == ones:
        return "absent", 0
    if saturates and code == ones - 1:
        return "above", last
    if saturates and code == ones - 2:
        return "below", 0
    raise NotAMessage("%s has the code %d, which means nothing" % (name, code))


def _earlier(field, newest, difference):
    counts = field["kind"] == "counter"
    most = (1 << field["earlier"][1]) - 4
    code = newest[1] + difference[1] - (most if counts else most // 2)
    if difference[0] == "absent":
        return difference
    impossible = newest[0] == "absent" or (counts and difference[0] == "above")
    if counts:
        code %= field["last"] + 1
    elif not 0 <= code <= field["last"]:
        impossible = impossible or difference[0] == "inside"
        code = 0 if code < 0 else field["last"]
    if impossible:
        raise NotAMessage("%s has an earlier reading that its newest one does not allow" % field["name"])
    return difference[0], code


def _shown(field, part, reading, warnings):
    state, code = reading
    if state == "absent":
        return None
    if field["kind"] == "flag":
        return code == 1
    if field["kind"] == "choice":
        return field["words"][code]
    numerator, offset, denominator = part["scale"]
    value = (code * numerator + offset) / denominator
    if state == "below":
        warnings.append("%s lay below what can be said: %r or less" % (part["name"], value))
    if state == "above":
        warnings.append("%s lay above what can be said: %r or more" % (part["name"], value))
    return value


def _octets(field, code):
    bits = field["bits"]
    if code >> (bits - 1) == 0:
        return code.to_bytes((bits - 1) // 8, "big")
    if code == (1 << bits) - 1:
        return None
    raise NotAMessage("%s is neither bytes nor absent" % field["name"])
