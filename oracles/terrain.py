"""Writes the two terrain tiles of the project, as small GeoTIFFs.

python terrain.py jacksboro PATH/TO/jacksboro_fault_dem.npz   real terrain for tests, from matplotlib's sample data
python terrain.py larkmoor                                    the invented valley of the examples

A GeoTIFF is written here with the standard library alone (numpy only reads the npz), so that the reader in Rust is
tested on a file that another program made.
"""

import hashlib
import math
import pathlib
import struct
import sys
import zlib

ROOT = pathlib.Path(__file__).resolve().parent.parent
ROWS_PER_STRIP = 32


def geotiff(rows, west_deg, north_deg, step_deg, about):
    """Bytes of a GeoTIFF of 16-bit metres in degrees of WGS 84, each for an area; `west` and `north` are its edges."""
    height, width = len(rows), len(rows[0])
    strips = []
    for first in range(0, height, ROWS_PER_STRIP):
        packed = b""
        for row in rows[first : first + ROWS_PER_STRIP]:
            # Predictor 2: each height as its difference from the one before.
            differences = [row[0]] + [b - a for a, b in zip(row, row[1:])]
            packed += struct.pack(f"<{width}H", *(value & 0xFFFF for value in differences))
        strips.append(zlib.compress(packed, 9))
    data, offsets = b"II*\0" + bytes(4), []
    for strip in strips:
        offsets.append(len(data))
        data += strip + bytes(len(strip) % 2)
    # Model type geographic, raster type area, WGS 84, heights in metres.
    keys = [1, 1, 0, 4, 1024, 0, 1, 2, 1025, 0, 1, 1, 2048, 0, 1, 4326, 4099, 0, 1, 9001]
    tags = [
        (256, "H", [width]), (257, "H", [height]), (258, "H", [16]), (259, "H", [8]), (262, "H", [1]),
        (270, "s", about.encode() + b"\0"), (273, "I", offsets), (277, "H", [1]), (278, "H", [ROWS_PER_STRIP]),
        (279, "I", [len(strip) for strip in strips]), (317, "H", [2]), (339, "H", [2]),
        (33550, "d", [step_deg, step_deg, 0.0]), (33922, "d", [0.0, 0.0, 0.0, west_deg, north_deg, 0.0]),
        (34735, "H", keys), (42113, "s", b"-32768\0"),
    ]  # fmt: skip
    kinds = {"s": 2, "H": 3, "I": 4, "d": 12}
    entries = b""
    for number, kind, values in tags:
        raw = values if kind == "s" else struct.pack(f"<{len(values)}{kind}", *values)
        count = len(values)
        if len(raw) > 4:
            place = len(data)
            data += raw + bytes(len(raw) % 2)
            raw = struct.pack("<I", place)
        entries += struct.pack("<HHI", number, kinds[kind], count) + raw.ljust(4, b"\0")
    directory = len(data)
    data += struct.pack("<H", len(tags)) + entries + bytes(4)
    return data[:4] + struct.pack("<I", directory) + data[8:]


def jacksboro(source):
    import numpy

    with numpy.load(source) as dem:
        rows = dem["elevation"].astype(int).tolist()
        west, step = float(dem["xmin"]), float(dem["dx"])
        # Row 0 is the north edge, and the two names are swapped in the file.
        north = float(dem["ymin"])
    assert (len(rows), len(rows[0])) == (344, 403) and 36.73 < north < 36.74
    about = "jacksboro_fault_dem.npz of matplotlib's sample data; matplotlib licence"
    return ROOT / "crates/forecast/tests/data/terrain/jacksboro.tif", geotiff(rows, west, north, step, about)


def noise(x, y, seed):
    """Smooth noise from -1 to 1: a random height at every whole x, y, and quintic steps between."""

    def corner(i, j):
        word = hashlib.blake2b(struct.pack("<iii", i, j, seed), digest_size=4).digest()
        return int.from_bytes(word, "little") / 2**31 - 1

    i, j = math.floor(x), math.floor(y)
    u, v = x - i, y - j
    u, v = (t * t * t * (t * (6 * t - 15) + 10) for t in (u, v))
    north = corner(i, j) * (1 - u) + corner(i + 1, j) * u
    south = corner(i, j + 1) * (1 - u) + corner(i + 1, j + 1) * u
    return north * (1 - v) + south * v


def larkmoor_height(latitude_deg, longitude_deg):
    """Height of the invented ground [m]: a valley that falls from the west-north-west to the east-south-east."""
    x = (longitude_deg - 13.0) * 75.9  # km east of the mast on the slope
    y = (latitude_deg - 46.99) * 111.2  # km north of it
    along = 0.9 * x - 0.44 * y
    across = 0.44 * x + 0.9 * y + 0.3 * math.sin(0.6 * along)
    floor = 640 - 9 * along
    # Gentle orchards reach far up the north side, the south side rises at once; both level off.
    north = 420 * (1 - math.exp(-((max(0.0, across - 2.9) / 3.4) ** 2)))
    south = 460 * (1 - math.exp(-((max(0.0, -0.7 - across) / 1.9) ** 2)))
    # An old moraine lies across the valley, with the hollow behind it; a wooded spur comes down in the west,
    # before a shelf with a spring.
    bent = along - 3.7 - 0.3 * math.sin(1.3 * across)
    moraine = 78 * math.exp(-((bent / 0.45) ** 2) - (max(0.0, abs(across - 0.5) - 1.5) / 0.6) ** 2)
    spur = 130 * math.exp(-(((along + 2.6) / 0.5) ** 2) - ((across - 3.6) / 1.2) ** 2)
    shelf = 60 * math.exp(-(((along + 6.4) / 1.2) ** 2) - ((across - 4.4) / 1.1) ** 2)
    rough = sum(
        size * noise(x * grain, y * grain, seed)
        for seed, (grain, size) in enumerate([(0.45, 120), (1.1, 45), (2.6, 18), (6.0, 6)])
    )
    away = max(0.0, across - 2.6, -0.4 - across)
    quiet = 0.08 + 0.92 * min(1.0, (away / 2.6) ** 2)  # orchards lie on even ground
    return round(floor + north + south + moraine + spur + shelf + quiet * rough)


def larkmoor():
    step, count = 1 / 1200, 240  # 3 arc-seconds, 0.2 degrees
    west, north = 12.9, 47.09
    rows = [
        [larkmoor_height(north - (row + 0.5) * step, west + (column + 0.5) * step) for column in range(count)]
        for row in range(count)
    ]
    about = "Larkmoor: an INVENTED terrain made by oracles/terrain.py; there is no such place"
    return ROOT / "examples/larkmoor/terrain/larkmoor.tif", geotiff(rows, west, north, step, about)


def main(arguments):
    made = {"jacksboro": jacksboro, "larkmoor": larkmoor}
    if not arguments or arguments[0] not in made:
        sys.exit(__doc__)
    path, data = made[arguments[0]](*arguments[1:])
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    print(path.relative_to(ROOT), len(data), hashlib.sha256(data).hexdigest())


main(sys.argv[1:])
