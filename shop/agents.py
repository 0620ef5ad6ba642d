"""A browser in words, from what it says of itself; good enough to tell one's own telephone from the shop's computer."""

from django.utils.translation import gettext as _

# In this order: later ones stand in the texts of earlier ones too (common practice, no source).
_BROWSERS = (
    ("Edg", "Edge"), ("OPR/", "Opera"), ("SamsungBrowser", "Samsung Internet"), ("Firefox/", "Firefox"),
    ("FxiOS", "Firefox"), ("CriOS", "Chrome"), ("Chromium", "Chromium"), ("Chrome/", "Chrome"), ("Safari/", "Safari"),
)  # fmt: skip
_SYSTEMS = (
    ("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android"), ("CrOS", "ChromeOS"), ("Windows", "Windows"),
    ("Mac OS X", "macOS"), ("Linux", "Linux"),
)  # fmt: skip


def agent_words(agent: str) -> str:
    browser = next((name for sign, name in _BROWSERS if sign in agent), "")
    system = next((name for sign, name in _SYSTEMS if sign in agent), "")
    if browser and system:
        return _("{browser} on {system}").format(browser=browser, system=system)
    return browser or system or _("a browser that does not say which")
