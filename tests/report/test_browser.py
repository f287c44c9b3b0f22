"""The report in a headless Chromium: axe's rules, requests, small screens, keyboard, print."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from tests.report.test_page import PAGES, page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = next(
    filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), ""
)
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not CHROMIUM, reason="no Chromium: apt-get install chromium"),
]
LOOKS = {"light": ("light", 1180), "dark": ("dark", 1180), "telephone": ("light", 360)}

LONG = (("ten years", "dark"), ("ten years", "telephone"))  # axe takes its time with each row


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    sync_api = pytest.importorskip("playwright.sync_api", reason="pip install coach[test]")
    with sync_api.sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM)
        yield found
        found.close()


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator[Any]:
    """Opens a report and gives the page and every address that it asked for."""
    contexts = []

    def open_report(name: str, look: str = "light") -> tuple[Page, list[str]]:
        path = tmp_path / "report.html"
        path.write_text(page(name), encoding="utf-8")
        scheme, width = LOOKS[look]
        context = browser.new_context(
            color_scheme="dark" if scheme == "dark" else "light",
            viewport={"width": width, "height": 780},
        )
        contexts.append(context)
        shown = context.new_page()
        asked: list[str] = []
        shown.on("request", lambda request: asked.append(request.url))
        shown.on("pageerror", lambda error: asked.append(f"error: {error}"))
        shown.on("console", lambda message: asked.append(f"console: {message.text}"))
        shown.goto(path.as_uri())
        return shown, asked

    yield open_report
    for context in contexts:
        context.close()


@pytest.mark.parametrize(
    ("name", "look"),
    [(name, look) for name in PAGES for look in LOOKS if (name, look) not in LONG],
)
def test_axe_finds_nothing_even_with_everything_open(opened: Any, name: str, look: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    shown, _ = opened(name, look)
    shown.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    found = axe.Axe().run(shown).response
    assert [(rule["id"], rule["nodes"][0]["html"]) for rule in found["violations"]] == []
    assert len(found["passes"]) > 15  # the rules did run


@pytest.mark.parametrize("name", PAGES)
def test_opening_asks_for_nothing_but_the_file(opened: Any, name: str) -> None:
    shown, asked = opened(name)
    shown.wait_for_load_state("networkidle")
    assert [url for url in asked if not url.endswith("/report.html")] == []
    assert len(asked) == 1


@pytest.mark.parametrize("name", PAGES)
def test_a_telephone_shows_it_without_scrolling_sideways(opened: Any, name: str) -> None:
    shown, _ = opened(name, "telephone")
    shown.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert shown.evaluate("document.documentElement.scrollWidth") <= 360
    sizes = shown.evaluate(
        """[...document.querySelectorAll('svg text')]
           .filter(one => one.getClientRects().length)
           .map(one => one.getBoundingClientRect().height)"""
    )
    assert all(size >= 9 for size in sizes)  # CSS pixels of a line of text


def test_dark_is_dark_and_light_is_light(opened: Any) -> None:
    def brightness(look: str) -> int:
        shown, _ = opened("one", look)
        color = shown.evaluate("getComputedStyle(document.body).backgroundColor")
        return sum(int(part) for part in color.strip("rgb()").split(","))

    assert brightness("dark") < 150
    assert brightness("light") > 600


def test_the_keyboard_reaches_the_content_first_and_opens_the_tables(opened: Any) -> None:
    shown, _ = opened("one")
    shown.keyboard.press("Tab")
    assert shown.evaluate("document.activeElement.textContent") == "Go to the content"
    shown.keyboard.press("Enter")
    assert shown.evaluate("document.activeElement.id") == "content"
    for _ in range(3):
        shown.keyboard.press("Tab")
        if shown.evaluate("document.activeElement.tagName") == "SUMMARY":
            break
    shown.keyboard.press("Enter")
    assert shown.evaluate("document.activeElement.parentElement.open") is True


def test_a_screen_reader_finds_landmarks_headings_and_pictures_by_name(opened: Any) -> None:
    shown, _ = opened("ten years")
    assert shown.get_by_role("main").count() == 1
    assert shown.get_by_role("navigation", name="Parts of the report").count() == 1
    assert shown.get_by_role("heading", name="Holds over time").count() == 1
    picture = shown.get_by_role("img", name="Holds after the relaxation", exact=True)
    assert picture.count() == 1
    shown.get_by_text("Numbers: Holds after the relaxation").click()
    assert shown.get_by_role("columnheader", name="First contraction").first.is_visible()


def test_print_has_the_people_of_a_group_and_neither_links_nor_folded_tables(opened: Any) -> None:
    shown, _ = opened("group")
    assert not shown.get_by_role("heading", name="Holds over time").first.is_visible()
    shown.emulate_media(media="print")
    assert shown.get_by_role("heading", name="Holds over time").first.is_visible()
    assert not shown.get_by_role("navigation").is_visible()
    assert not shown.get_by_text("Everything that was said and heard").first.is_visible()
    assert shown.pdf(format="A4").startswith(b"%PDF")


def test_charts_that_are_shown_have_some_size_and_stay_in_their_figure(opened: Any) -> None:
    shown, _ = opened("ten years")
    boxes = shown.evaluate(
        """[...document.querySelectorAll('svg')].filter(one => one.getClientRects().length)
           .map(one => { const a = one.getBoundingClientRect();
                         const b = one.closest('figure').getBoundingClientRect();
                         return [a.width, a.height, a.left - b.left, b.right - a.right]; })"""
    )
    assert len(boxes) == 7  # one timeline, four kinds of hold, two of pulse
    for width, height, left, right in boxes:
        assert width > 300
        assert height > 100
        assert min(left, right) >= -0.5
