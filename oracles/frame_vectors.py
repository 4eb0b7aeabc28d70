"""LoRaWAN frames with keys of our own, from the standard's clauses on plain AES; the outcome is crates/wire/tests/data/frames.toml.

Two ways that share nothing but the AES block: the CMAC of the package `cryptography`, and RFC 4493 written out here.
Clauses: TS001-1.0.4 (LoRaWAN L2 1.0.4) unless 1.1 is said, which is TS001-1.1.
"""

import hashlib

from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.cmac import CMAC


def key(name):
    """A key that nobody uses: it follows from its name."""
    return hashlib.sha256(f"larkmoor {name}".encode()).digest()[:16]


def encrypt(k, block):
    encryptor = Cipher(algorithms.AES(k), modes.ECB()).encryptor()
    return encryptor.update(block) + encryptor.finalize()


def decrypt(k, block):
    decryptor = Cipher(algorithms.AES(k), modes.ECB()).decryptor()
    return decryptor.update(block) + decryptor.finalize()


def subkeys(k):
    """RFC 4493, section 2.3."""
    def doubled(block):
        number = int.from_bytes(block, "big") << 1
        return ((number & (1 << 128) - 1) ^ (0x87 if number >> 128 else 0)).to_bytes(16, "big")
    first = doubled(encrypt(k, bytes(16)))
    return first, doubled(first)


def cmac_by_hand(k, message):
    """RFC 4493, section 2.4."""
    first, second = subkeys(k)
    blocks = [message[at:at + 16] for at in range(0, len(message), 16)] or [b""]
    last = blocks.pop()
    whole = len(last) == 16
    padded = last if whole else last + b"\x80" + bytes(15 - len(last))
    state = bytes(16)
    for block in blocks + [xor(padded, first if whole else second)]:
        state = encrypt(k, xor(state, block))
    return state


def xor(one, other):
    return bytes(a ^ b for a, b in zip(one, other))


def cmac(k, message):
    mac = CMAC(algorithms.AES(k))
    mac.update(message)
    found = mac.finalize()
    assert found == cmac_by_hand(k, message)
    return found


def reversed_hex(text):
    return bytes.fromhex(text)[::-1]


def keystream(k, way, address, counter, payload):
    """Clause 4.3.3.1: A_i, from i = 1."""
    stream = b""
    for index in range((len(payload) + 15) // 16):
        stream += encrypt(k, bytes([1, 0, 0, 0, 0, way]) + address + counter.to_bytes(4, "little") + bytes([0, index + 1]))
    return xor(payload, stream)


def b0(way, address, counter, length, first=0x49, more=bytes(4)):
    """Clause 4.4: the block before the frame under its integrity code."""
    return bytes([first]) + more + bytes([way]) + address + counter.to_bytes(4, "little") + bytes([0, length])


def body(nwk, app, frame):
    """Header to payload of a data frame."""
    way = 0 if frame["direction"] == "up" else 1
    header = {(0, False): 0x40, (1, False): 0x60, (0, True): 0x80, (1, True): 0xa0}[way, frame["confirmed"]]
    address, options = reversed_hex(frame["dev_addr"]), bytes.fromhex(frame["options"])
    octets = bytes([header]) + address + bytes([frame["flags"] | len(options)]) + (frame["fcnt"] & 0xffff).to_bytes(2, "little") + options
    if "port" in frame:
        k = nwk if frame["port"] == 0 else app
        octets += bytes([frame["port"]]) + keystream(k, way, address, frame["fcnt"], bytes.fromhex(frame["plain"]))
    return way, address, octets


def data(frame):
    nwk, app = bytes.fromhex(frame["nwk_s_key"]), bytes.fromhex(frame["app_s_key"])
    way, address, octets = body(nwk, app, frame)
    return octets + cmac(nwk, b0(way, address, frame["fcnt"], len(octets)) + octets)[:4]


def uplink_1_1(frame, serving, forwarding, app):
    """1.1, clause 4.4.2: half of the code by each of two keys."""
    way, address, octets = body(forwarding, app, frame)
    other = b0(way, address, frame["fcnt"], len(octets), more=bytes([0, 0, 2, 3]))
    return octets + cmac(serving, other + octets)[:2] + cmac(forwarding, b0(way, address, frame["fcnt"], len(octets)) + octets)[:2]


ADR, ASK, ACK, PENDING = 0x80, 0x40, 0x20, 0x10
FRAMES = [
    # A report of the frost mast by its table of fields: air -3.4, -3.1, -2.8, -2.5 Cel; leaf -4.6, -4.2, -3.9, -3.5 Cel;
    # humidity 93 %, wetness 12 %, battery 3910 mV, 812 min in charge, no restart.
    dict(name="up, a report of the frost mast, ADR", dev_addr="01A7C04E", direction="up", flags=ADR, fcnt=258, port=10, plain="5ba192758a2969ba32346580"),
    dict(name="up, a port and no bytes", dev_addr="01A7C04E", direction="up", fcnt=3, port=1, plain=""),
    dict(name="up, no port", dev_addr="01A7C04E", direction="up", flags=ADR | ASK, fcnt=64),
    dict(name="up, confirmed, at the last 16-bit counter", dev_addr="00000001", direction="up", confirmed=True, flags=ACK | ASK, fcnt=65535, port=223, plain="ff"),
    dict(name="up, first of the second epoch", dev_addr="01A7C04E", direction="up", fcnt=65536, port=1, plain="aa55"),
    dict(name="up, over two blocks of keystream", dev_addr="01FFFFFF", direction="up", flags=ADR, fcnt=1, port=10, plain=bytes(range(20)).hex()),
    dict(name="up, the longest payload", dev_addr="01A7C04E", direction="up", fcnt=70000, port=2, plain=bytes(7 * n % 256 for n in range(242)).hex()),
    dict(name="up, answers of a device in the options", dev_addr="01A7C04E", direction="up", fcnt=9, port=10, plain="00", options="030706ff14"),
    dict(name="up, a link check on port 0", dev_addr="01A7C04E", direction="up", fcnt=16, port=0, plain="02"),
    dict(name="down, an acknowledgement", dev_addr="01A7C04E", direction="down", flags=ACK, fcnt=2),
    dict(name="down, ADR, acknowledged, more is waiting", dev_addr="01A7C04E", direction="down", flags=ADR | ACK | PENDING, fcnt=7, port=20, plain="c0ffee"),
    dict(name="down, confirmed, a request of the network in the options", dev_addr="01A7C04E", direction="down", confirmed=True, fcnt=8, port=20, plain="01", options="0352070001"),
]


def settle(frame):
    whole = dict(confirmed=False, flags=0, options="", nwk_s_key=key("NwkSKey").hex(), app_s_key=key("AppSKey").hex())
    whole.update(frame)
    whole["frame"] = data(whole).hex()
    return whole


def join(name, dev_eui, dev_nonce, join_nonce, dev_addr, settings, delay, channels):
    """Clauses 6.2.2, 6.2.3 and 6.2.5; the network decrypts so that a device need only encrypt."""
    app, join_eui, net_id = key(name), "024C61726BFFFFFF", "000000"
    asked = b"\x00" + reversed_hex(join_eui) + reversed_hex(dev_eui) + reversed_hex(dev_nonce)
    granted = b"\x20" + reversed_hex(join_nonce) + reversed_hex(net_id) + reversed_hex(dev_addr) + bytes([settings, delay]) + channels
    granted += cmac(app, granted)[:4]
    sealed = granted[:1] + b"".join(decrypt(app, granted[at:at + 16]) for at in range(1, len(granted), 16))
    seed = reversed_hex(join_nonce) + reversed_hex(net_id) + reversed_hex(dev_nonce) + bytes(7)
    return dict(
        name=name, app_key=app.hex(), join_eui=join_eui, dev_eui=dev_eui, dev_nonce=dev_nonce,
        request=(asked + cmac(app, asked)[:4]).hex(), join_nonce=join_nonce, net_id=net_id, dev_addr=dev_addr,
        settings=settings, delay=delay, channels=channels.hex(), accept_plain=granted.hex(), accept=sealed.hex(),
        nwk_s_key=encrypt(app, b"\x01" + seed).hex(), app_s_key=encrypt(app, b"\x02" + seed).hex())


# 867.1 to 867.9 MHz in steps of 100 Hz, least significant octet first, and the octet of frequencies.
CHANNELS = b"".join((8671000 + 2000 * n).to_bytes(3, "little") for n in range(5)) + b"\x00"
JOINS = [
    join("a join without channels", "024C61726B000001", "0001", "000001", "01A7C04E", 0x00, 1, b""),
    join("a join with five channels", "024C61726B000002", "1A2B", "E5063A", "01FFFFFF", 0x23, 5, CHANNELS),
]


def of_1_1():
    """Frames of 1.1, which are to be refused: their keys, codes and options differ."""
    serving, forwarding, app, root = (key(name) for name in ("SNwkSIntKey", "FNwkSIntKey", "AppSKey of 1.1", "NwkKey"))
    frame = settle(dict(name="", dev_addr="01A7C04E", direction="up", flags=ADR, fcnt=1, port=10, plain="0a1b"))
    down = settle(dict(name="", dev_addr="01A7C04E", direction="down", fcnt=1, port=10, plain="0a1b", nwk_s_key=serving.hex(), app_s_key=app.hex()))
    dev_eui, join_eui = reversed_hex("024C61726B000001"), reversed_hex("024C61726BFFFFFF")
    granted = b"\x20" + b"\x01\x00\x00" + bytes(3) + reversed_hex("01A7C04E") + bytes([0x80, 1])
    inner = encrypt(root, b"\x06" + dev_eui + bytes(7))
    granted += cmac(inner, b"\xff" + join_eui + b"\x01\x00" + granted)[:4]
    rejoin = b"\xc0\x00" + bytes(3) + dev_eui + b"\x00\x00"
    return [
        dict(name="an uplink of 1.1", key=serving.hex(), frame=uplink_1_1(frame, serving, forwarding, app).hex()),
        dict(name="a downlink of 1.1 that acknowledges nothing", key=serving.hex(), frame=down["frame"]),
        dict(name="a join-accept of 1.1", key=root.hex(), frame=(granted[:1] + decrypt(root, granted[1:])).hex()),
        dict(name="a rejoin-request", key=serving.hex(), frame=(rejoin + cmac(serving, rejoin)[:4]).hex()),
    ]


def rfc_4493():
    """Section 4: its key, its message in four lengths, and its four codes."""
    k = bytes.fromhex("2b7e151628aed2a6abf7158809cf4f3c")
    message = bytes.fromhex("6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e51"
                            "30c81c46a35ce411e5fbc1191a0a52eff69f2445df4f9b17ad2b417be66c3710")
    codes = {0: "bb1d6929e95937287fa37d129b756746", 16: "070a16b46b4d4144f79bdd9dd04a287c",
             40: "dfa66747de9ae63030ca32611497c827", 64: "51f0bebf7e3b9d92fc49741779363cfe"}
    for length, code in codes.items():
        assert cmac(k, message[:length]).hex() == code
        yield dict(key=k.hex(), message=message[:length].hex(), code=code)


def table(title, row):
    lines = [f"[[{title}]]"]
    for name, value in row.items():
        lines.append(f"{name} = {str(value).lower() if isinstance(value, bool) else value if isinstance(value, int) else chr(34) + value + chr(34)}")
    return "\n".join(lines) + "\n"


def main():
    print("# Made by oracles/frame_vectors.py, which says how. Identities: most significant octet first; all else as sent.\n")
    rows = [("cmac", row) for row in rfc_4493()] + [("data", settle(frame)) for frame in FRAMES]
    rows += [("join", row) for row in JOINS] + [("newer", row) for row in of_1_1()]
    print("\n".join(table(title, row) for title, row in rows), end="")


if __name__ == "__main__":
    main()
