"""The codes of the second factor against what others published: the test values of RFC 4226 (Appendix D) and RFC 6238
(Appendix B), the way in which an app reads the address, and the QR code read back by ISO/IEC 18004."""

import base64
import datetime as dt
import re

import pyotp
import pytest

from shop import second_factor as codes

# The shared secret of both RFCs, "12345678901234567890" in ASCII.
SECRET = base64.b32encode(b"12345678901234567890").decode()

# RFC 6238, Appendix B, the rows of SHA1: seconds since 1970, T in hexadecimal, the code of 8 digits. One of 6 digits is
# the same number modulo a million (RFC 4226, section 5.3), so its last six.
RFC_6238 = [
    (59, "0000000000000001", "94287082"),
    (1111111109, "00000000023523EC", "07081804"),
    (1111111111, "00000000023523ED", "14050471"),
    (1234567890, "000000000273EF07", "89005924"),
    (2000000000, "0000000003F940AA", "69279037"),
    (20000000000, "0000000027BC86AA", "65353130"),
]
# RFC 4226, Appendix D: the codes of the counters 0 to 9.
RFC_4226 = ["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"]


@pytest.mark.parametrize(("seconds", "step", "code"), RFC_6238)
def test_the_codes_of_rfc_6238_count_at_their_times(seconds: int, step: str, code: str) -> None:
    at = dt.datetime.fromtimestamp(seconds, tz=dt.UTC)
    assert codes.step_at(at) == int(step, 16)
    assert codes.step_of(SECRET, code[-6:], at=at, after=0) == int(step, 16)


@pytest.mark.parametrize(("counter", "code"), list(enumerate(RFC_4226)))
def test_the_codes_of_rfc_4226_belong_to_their_counters(counter: int, code: str) -> None:
    at = dt.datetime.fromtimestamp((counter + 1) * codes.STEP_SECONDS, tz=dt.UTC)
    assert codes.step_of(SECRET, code, at=at, after=-1) == counter


def test_a_secret_is_as_long_as_rfc_4226_recommends() -> None:
    """Section 4, R6: 160 bits recommended."""
    made = codes.new_secret()
    assert len(base64.b32decode(made)) * 8 == 160
    assert made != codes.new_secret()


def test_an_app_reads_from_the_address_what_we_meant() -> None:
    """The address as the Key Uri Format has it, read by pyotp's parser, which shares nothing with our checking."""
    read = pyotp.parse_uri(codes.otpauth_uri(SECRET, "ruth ademar", "Halyard & Bow: tops"))
    assert isinstance(read, pyotp.TOTP)
    assert (read.secret, read.name, read.issuer) == (SECRET, "ruth ademar", "Halyard & Bow: tops")
    assert (read.digits, read.interval, read.digest().name) == (6, 30, "sha1")


@pytest.mark.parametrize("shop", ["Topwright", "Halyard & Bow", "Hood & Hem"])
def test_a_telephone_reads_the_address_from_the_picture(shop: str) -> None:
    """Drawn back from the SVG's strokes and read as ISO/IEC 18004 says, with nothing of the encoder (tables from
    memory: what they give is the whole address, or none of it)."""
    uri = codes.otpauth_uri(SECRET, "ruth", shop)
    assert _read(_modules(codes.qr_svg(uri))) == uri


BLOCKS = {(6, "M"): 4, (6, "Q"): 4, (5, "M"): 2}
"""Blocks of equal length by version and level; the data codewords of each are interleaved."""
DATA = {(6, "M"): 108, (6, "Q"): 76, (5, "M"): 86}
MASKS = (
    lambda r, c: (r + c) % 2, lambda r, c: r % 2, lambda r, c: c % 3, lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2, lambda r, c: r * c % 2 + r * c % 3,
    lambda r, c: (r * c % 2 + r * c % 3) % 2, lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
)  # fmt: skip


def _read(rows: list[list[bool]]) -> str:
    size = len(rows)
    version = (size - 17) // 4
    told = [rows[8][column] for column in range(5)]  # the format: two bits of the level, three of the mask
    told = [bit != (mask == "1") for bit, mask in zip(told, "10101", strict=True)]
    level = {(False, False): "M", (False, True): "L", (True, False): "H", (True, True): "Q"}[told[0], told[1]]
    mask = MASKS[told[2] * 4 + told[3] * 2 + told[4]]
    bits = [
        rows[row][column] != (mask(row, column) == 0)
        for row, column in _order(size)
        if not _is_pattern(row, column, size)
    ]
    words = [sum(bit << (7 - at) for at, bit in enumerate(bits[start : start + 8])) for start in range(0, len(bits), 8)]
    blocks = BLOCKS[version, level]
    data = [word for block in range(blocks) for word in words[block : DATA[version, level] : blocks]]
    text = "".join(f"{word:08b}" for word in data)
    assert text[:4] == "0100"  # byte mode
    length = int(text[4:12], 2)
    return bytes(int(text[12 + 8 * at : 20 + 8 * at], 2) for at in range(length)).decode()


def _order(size: int) -> list[tuple[int, int]]:
    """Where the bits lie: pairs of columns from the right, up and down in turn, past the timing pattern."""
    places, up = [], True
    for right in [*range(size - 1, 6, -2), 5, 3, 1]:
        for row in range(size - 1, -1, -1) if up else range(size):
            places += [(row, right), (row, right - 1)]
        up = not up
    return places


def _is_pattern(row: int, column: int, size: int) -> bool:
    """Finders with their separators and formats, timing, and the one alignment pattern of the versions 2 to 6."""
    finder = (row < 9 and (column < 9 or column >= size - 8)) or (row >= size - 8 and column < 9)
    alignment = size - 9 <= row < size - 4 and size - 9 <= column < size - 4
    return finder or row == 6 or column == 6 or alignment


def _modules(svg: str) -> list[list[bool]]:
    """The dark modules of the SVG without its quiet zone of 4: horizontal strokes one module high."""
    box = re.search(r'viewBox="0 0 (\d+) \1"', svg)
    path = re.search(r'stroke="#000" d="([^"]+)"', svg)
    assert box
    assert path
    size = int(box[1]) - 8
    rows = [[False] * size for _row in range(size)]
    x = y = 0.0
    for kind, numbers in re.findall(r"([Mmh])([-\d. ]+)", path[1]):
        given = [float(number) for number in re.findall(r"-?[\d.]+", numbers)]
        if kind == "h":
            for column in range(int(x), int(x + given[0])):
                rows[int(y) - 4][column - 4] = True
            x += given[0]
        elif kind == "m":
            x, y = x + given[0], y + given[1]
        else:
            x, y = given
    return rows
