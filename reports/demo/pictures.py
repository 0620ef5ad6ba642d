"""The README's pictures: the machine's Chromium looks at a running demo, and PDFium at a certificate.

playwright and pypdfium2 come with the development extras; they are imported where they are used.
"""

import re
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from shutil import which
from typing import Any
from urllib.parse import urlparse

from PIL import Image

from reports.demo import people

MOST_BYTES = 300_000
VIEW = {"width": 1280, "height": 860}
PAGE_WIDTH = 900
CHROMIUM = ("chromium", "chromium-browser", "google-chrome")
QUIET = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
HALF_WAY = "Closing stops half way"
SYSTEM = "rht-trio"
RANGE_MODE = "never-makes"
PART = "TW-BGA-3015"
PLAN_SECONDS = 600
"""What the worker may take for the demo's first shelf plan."""


class MissingToolError(Exception):
    """What the pictures need and this machine has not."""


def tools() -> tuple[str, Callable[[], Any]]:
    """Chromium's path and playwright's way in. Raises MissingToolError with one sentence."""
    try:
        import pypdfium2  # noqa: F401
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        words = f"{error.name} is missing: install the development extras (.ci/requirements-dev.txt)."
        raise MissingToolError(words) from error
    chromium = next(filter(None, map(which, CHROMIUM)), None)
    if chromium is None:
        raise MissingToolError(f"Chromium is missing; looked for {', '.join(CHROMIUM)} on the PATH.")
    return chromium, sync_playwright


def take(address: str, out: Path) -> list[Path]:
    """Floor, bench sheet with its drawings and bench list, car file, an inspection by plan and page 1 of its
    certificate, a question of the interview, the failure patterns of a system and the forecast of a part, as PNG files
    in `out`."""
    chromium, playwright = tools()
    out.mkdir(parents=True, exist_ok=True)
    with playwright() as p:
        browser = p.chromium.launch(executable_path=chromium, args=QUIET)
        page = browser.new_page(viewport=VIEW, color_scheme="light")
        _sign_in(page, address)
        shots = {"floor": _tall(page, 1100)}
        job = _href(page, "/jobs/", HALF_WAY)
        page.goto(f"{address}{job}bench/", wait_until="networkidle")
        shots["bench-sheet"] = _tall(page, 1600)
        sheet = urlparse(page.url).path
        page.goto(f"{address}{sheet}drawings/?tab=motion", wait_until="networkidle")
        shots["motion"] = _tall(page, 1200)
        bench_list = page.request.get(f"{address}{sheet}bench-list.pdf").body()
        page.goto(f"{address}/tell/about/{SYSTEM}/", wait_until="networkidle")
        shots["interview"] = _tall(page, 700)
        page.goto(f"{address}/ranges/{SYSTEM}/?mode={RANGE_MODE}", wait_until="networkidle")
        shots["ranges"] = _tall(page, 1100)
        page.goto(f"{address}{job}", wait_until="networkidle")
        page.goto(f"{address}{_href(page, '/cars/')}", wait_until="networkidle")
        shots["car-file"] = _tall(page, 1300)
        page.goto(f"{address}/certificates/", wait_until="networkidle")
        certificate = _href(page, "/certificates/TW-")
        pdf = page.request.get(f"{address}{certificate}file/").body()
        page.goto(f"{address}{certificate}", wait_until="networkidle")
        page.goto(f"{address}{_href(page, '/jobs/')}inspection/", wait_until="networkidle")
        shots["inspection"] = _tall(page, 1200)
        _wait_for_plan(page, address)
        page.goto(f"{address}/shelf/{PART}/", wait_until="networkidle")
        outlook = page.locator("section", has=page.get_by_role("heading", name="What will be asked for"))
        shots["part"] = outlook.last.screenshot()
        browser.close()
    shots["certificate"], shots["bench-list"] = _first_page(pdf), _first_page(bench_list)
    return [write(out / f"{name}.png", data) for name, data in shots.items()]


def _sign_in(page: Any, address: str) -> None:
    username, password, *_rest = people.SIGN_INS[0]
    page.goto(f"{address}/", wait_until="networkidle")
    page.fill("[name=username]", username)
    page.fill("[name=password]", password)
    page.press("[name=password]", "Enter")
    page.get_by_role("button", name="Close the tour").click()
    page.wait_for_load_state("networkidle")


def _wait_for_plan(page: Any, address: str) -> None:
    for _second in range(PLAN_SECONDS):
        page.goto(f"{address}/shelf/{PART}/", wait_until="networkidle")
        if page.locator("figure.r-chart").count():
            return
        page.wait_for_timeout(1000)
    raise LookupError(f"no shelf plan within {PLAN_SECONDS} s")


def _tall(page: Any, height: int) -> bytes:
    """The top of a long page, laid out for a window of that height."""
    page.set_viewport_size({**VIEW, "height": height})
    picture: bytes = page.screenshot()
    page.set_viewport_size(VIEW)
    return picture


def _href(page: Any, prefix: str, words: str = "") -> str:
    """The first address in the page that leads to one thing below `prefix`, in a card that says `words` if given."""
    within = page.locator("main :is(li, article, tr)", has_text=words) if words else page.locator("main")
    links = within.locator(f"a[href^='{prefix}']")
    for link in links.all():
        match = re.match(rf"{prefix}[^/]+/", link.get_attribute("href"))
        if match and match[0] != f"{prefix}new/":
            return match[0]
    raise LookupError(f"no link below {prefix} on {page.url}")


def _first_page(pdf: bytes) -> bytes:
    import pypdfium2

    page = pypdfium2.PdfDocument(pdf)[0]
    picture = page.render(scale=PAGE_WIDTH / page.get_width()).to_pil()
    buffer = BytesIO()
    picture.save(buffer, "PNG")
    return buffer.getvalue()


def write(path: Path, data: bytes) -> Path:
    """As a PNG with a palette, in as many colours as fit MOST_BYTES."""
    picture = Image.open(BytesIO(data)).convert("RGB")
    for colours in (256, 128, 64, 32, 16):
        picture.quantize(colours, dither=Image.Dither.NONE).save(path, "PNG", optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            return path
    raise ValueError(f"{path} stays above {MOST_BYTES} bytes")
