"""Invented people, makers and numbers. A VIN of the demo starts with 0, which begins no real one."""

import random
from datetime import date
from decimal import Decimal

from shop.vin import check_digit

SHOP = {
    "name": "Halyard & Bow",
    "address": "12 Sailmaker Yard\nPort Lorne",
    "phone": "01632 960100",  # numbers kept for drama in the United Kingdom; from memory
    "email": "bench@halyard.example",
    "inspection_fee": Decimal("240.00"),
    "inspection_terms": "We inspect the convertible top as far as it can be reached without stripping the car, and "
    "send you one signed certificate of what was tested and found. Payment is due on the day of the inspection. You "
    "may withdraw free of charge until the day before.",
}
SIGN_INS = (
    # username, password, first name, last name, role
    ("tech", "made-and-released", "Mara", "Lindby", "technician"),
    ("counter", "keys-on-the-hook", "Owen", "Tarrow", "counter"),
    ("parts", "top-shelf-left", "Ines", "Kovar", "parts"),
    ("owner", "bow-to-boot-lid", "Ruth", "Ademar", "owner"),
)
MODELS = {
    "rht-trio": (("Calderine", "Solenne", "CA"), ("Norvask", "Trisk", "NV")),
    "softbow-hydro": (("Tavelle", "Ombrine", "TV"), ("Calderine", "Larkin", "CA")),
    "softline-electro": (("Ilmarens", "Piko", "LM"), ("Tavelle", "Ninette", "TV")),
    "": (("Ilmarens", "Veldt", "LM"),),
}
_FIRST = [
    "Ada", "Bram", "Celia", "Dario", "Edda", "Falk", "Greta", "Hanno", "Ilse", "Joris", "Katrin", "Lennart",
    "Mirte", "Nils", "Oda", "Piet", "Quinta", "Rolf", "Svea", "Tilda", "Ulrik", "Vera", "Wim", "Yara", "Zeno",
]  # fmt: skip
_LAST = [
    "Aldermoor", "Brackwell", "Castrup", "Dunmere", "Eskelund", "Farrowby", "Gantrell", "Hollinger",
    "Iversholt", "Jessamer", "Kestrick", "Lorimond", "Marchbank", "Nettleby", "Ormsgard", "Pellwood",
    "Quillon", "Ravensmoor", "Stavering", "Thornquay", "Underlay", "Varnholm", "Westerby", "Yarmond",
    "Zellweg",
]  # fmt: skip
_COMPANIES = ("Lorne Bay Hire Cars", "Quayside Motors", "Cedar Lane Garage", "Harbour Insurance Assessors")

_LETTERS = "ABCDEFGHJKLMNPRSTUVWXYZ"  # ISO 3779: no I, O or Q
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"  # model years from 2010 (49 CFR 565.15 Table VII; from memory)


def invent_customers(rng: random.Random, count: int) -> list[dict[str, str]]:
    """People and a few firms, every name once, in a fixed order for a given `rng`."""
    names = [f"{first} {last}" for first in _FIRST for last in _LAST]
    chosen = [*_COMPANIES, *rng.sample(names, count - len(_COMPANIES))]
    return [
        {"name": name, "email": f"{name.lower().replace(' ', '.')}@post.example", "phone": f"01632 960{number:03d}"}
        for number, name in enumerate(chosen)
    ]


def invent_vin(rng: random.Random, code: str, made_on: date, serial: int) -> str:
    """A VIN of ISO 3779 form with the check digit of 49 CFR 565: maker, description, check digit, year, plant,
    serial."""
    describes = "".join(rng.choices(_LETTERS, k=3)) + f"{rng.randrange(10, 99)}"
    year = _YEAR_CODES[(made_on.year - 2010) % len(_YEAR_CODES)]
    open_vin = f"0{code}{describes}0{year}{rng.choice('AKPT')}{serial:06d}"
    return f"{open_vin[:8]}{check_digit(open_vin)}{open_vin[9:]}"


def invent_plate(rng: random.Random, serial: int) -> str:
    return f"{''.join(rng.choices(_LETTERS, k=2))} {serial:03d} {''.join(rng.choices(_LETTERS, k=2))}"
