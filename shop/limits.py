"""How often one sender may do a thing within an hour."""

from django.core.cache import caches
from django.utils.crypto import salted_hmac

from shop.errors import TooMany

HOUR = 3600


def count(what: str, sender: str, *, most: int, words: str) -> None:
    """TooMany(`words`) from the time on that `sender` has done `what` more than `most` times within an hour. The sender
    is kept as a keyed hash for that hour."""
    cache = caches["counts"]
    key = f"{what}:{salted_hmac(f'shop.limits.{what}', sender, algorithm='sha256').hexdigest()}"
    cache.add(key, 0, HOUR)
    try:
        times = cache.incr(key)
    except ValueError:  # the hour ended between the two
        return
    if times > most:
        raise TooMany(words)
