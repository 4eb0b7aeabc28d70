"""Seals the key boxes of the tests, independently of the Rust code: the age format, version 1, on `cryptography`.

    python oracles/key_box.py        # writes crates/logbook/tests/data/v1/shared.age and v2/keys.age

The keys are the examples of FIPS 197, appendices A.1 and C.1; the passphrase and the work of 2^2 are those of the other
boxes there. Salt, file key and nonce follow from the name of the file, so that the same bytes come out again.
"""

import base64
import hashlib
import hmac
from pathlib import Path

from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

DATA = Path(__file__).parent.parent / "crates/logbook/tests/data"
PASSPHRASE = b"larkmoor in the rain"
LOG_WORK = 2
KEY_A, KEY_B = "2B7E151628AED2A6ABF7158809CF4F3C", "000102030405060708090A0B0C0D0E0F"
EUI_A, EUI_B = "02B3D50000000001", "02B3D50000000002"
SHARED = f"overwinter keys, schema 1\n{EUI_A} {KEY_A}\n{EUI_B} {KEY_A}\n"
ROW = """
[[node]]
name = "mast-{number}"
kind = "Frost \\"mast\\""
dev_eui = "{dev_eui}"
join_eui = "02B3D50000000100"
from = 2026-11-25
constants.wetness = {{ dry_level = nan }}
"""
SCHEMA_2 = (
    f"overwinter keys, schema 2\n{EUI_A} {KEY_A}\n{EUI_B} {KEY_B}\n\nschema = 1\n"
    + ROW.format(number=1, dev_eui=EUI_A)
    + ROW.format(number=2, dev_eui=EUI_B)
)


def text(octets: bytes) -> str:
    return base64.b64encode(octets).decode().rstrip("=")


def derive(file_key: bytes, salt: bytes | None, info: bytes) -> bytes:
    return HKDF(SHA256(), 32, salt, info).derive(file_key)


def seal(plain: bytes, name: str) -> bytes:
    drawn = hashlib.sha512(name.encode()).digest()
    file_key, salt, nonce = drawn[:16], drawn[16:32], drawn[32:48]
    wrapping = hashlib.scrypt(
        PASSPHRASE, salt=b"age-encryption.org/v1/scrypt" + salt, n=1 << LOG_WORK, r=8, p=1, dklen=32
    )
    body = ChaCha20Poly1305(wrapping).encrypt(bytes(12), file_key, None)
    header = f"age-encryption.org/v1\n-> scrypt {text(salt)} {LOG_WORK}\n{text(body)}\n---"
    mac = hmac.new(derive(file_key, None, b"header"), header.encode(), hashlib.sha256).digest()
    assert len(plain) <= 1 << 16, "one chunk, which is the last"
    payload = ChaCha20Poly1305(derive(file_key, nonce, b"payload")).encrypt(bytes(11) + b"\1", plain, None)
    return f"{header} {text(mac)}\n".encode() + nonce + payload


for place, plain in [("v1/shared.age", SHARED), ("v2/keys.age", SCHEMA_2)]:
    (DATA / place).write_bytes(seal(plain.encode(), place))
    print(place, hashlib.sha256((DATA / place).read_bytes()).hexdigest())
