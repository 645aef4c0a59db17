"""What a student does, in a real browser."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.browser

THUJA = "sessions/2026-03-09-thuja-1.html"


@pytest.fixture
def page(browser, address):
    context = browser.new_context(viewport={"width": 1000, "height": 800})
    page = context.new_page()
    page.faults = []
    page.on("pageerror", lambda error: page.faults.append(str(error)))
    page.on("console", lambda m: page.faults.append(m.text) if m.type == "error" and "404" not in m.text else None)
    page.outside = []
    page.on(
        "request", lambda r: page.outside.append(r.url) if not r.url.startswith((address, "blob:", "file:")) else None
    )
    yield page
    assert not page.faults
    assert not page.outside
    context.close()


def find(page, address, query):
    page.goto(f"{address}index.html")
    page.get_by_label("Find a moment").fill(query)
    page.keyboard.press("Enter")
    page.wait_for_selector("#hits li")
    return page.locator("#hits li")


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ("Kali bichromicum", "drawn out in long threads"),  # a remedy
        ("Kali-bi.", "keynote of Kali bi"),  # its repertory abbreviation (Kent 1908)
        ("Lycopodeum", "Lycopodium"),  # misspelt
        ("lico podium", "Lycopodium"),  # as heard
        ("two yah", "Thuja"),  # a mishearing of this course
        ("tree of life", "Thuja"),  # a common name
        ("wrinkly wart growths", "Warts"),
        ("brittle like glass", "brittle"),
        ("student with eleven warts", "eleven warts on the left hand"),
        ("thirst for beer", "beer"),
    ],
)
def test_the_first_answers_hold_the_place(page, address, query, sentence):
    hits = find(page, address, query)
    assert any(sentence in text for text in hits.all_inner_texts()[:3])


def test_a_hit_plays_from_its_second(page, address):
    find(page, address, "brittle as glass").first.get_by_role("link").click()
    page.wait_for_function("() => document.getElementById('audio').currentTime >= 5.1", timeout=30000)
    # The point is said from 5.2 s on (13 words of 400 ms before it).
    assert 5.1 <= page.evaluate("document.getElementById('audio').currentTime") < 9


def test_the_transcript_follows_the_sound(page, address):
    page.goto(f"{address}{THUJA}#t=19")
    page.wait_for_function("() => document.getElementById('audio').currentTime >= 19.0", timeout=30000)
    # The page looks at the player a few times a second; a busy machine may be late, never wrong.
    page.wait_for_function(
        "() => document.querySelector('.transcript p.now')?.innerText.includes('Sweat comes only')", timeout=30000
    )
    assert page.locator(".part.playing").count() == 1


def test_a_restored_word_shows_what_was_heard(page, address):
    page.goto(address + THUJA)
    word = page.locator("button.restored")
    assert not page.get_by_text("heard: “two yah”").is_visible()
    word.focus()
    page.keyboard.press("Enter")
    assert page.get_by_text("heard: “two yah”").is_visible()
    assert word.get_attribute("aria-expanded") == "true"


def test_results_can_be_narrowed(page, address):
    hits = find(page, address, "warts")
    before = hits.count()
    page.get_by_label("Kind").select_option("cases")
    page.wait_for_function(f"() => document.querySelectorAll('#hits li').length < {before}")
    assert all("Case" in text for text in hits.all_inner_texts())


def test_a_link_to_the_moment_can_be_shared(page, address):
    page.goto(f"{address}{THUJA}#t=12")
    page.wait_for_function("() => document.getElementById('audio').currentTime >= 12", timeout=30000)
    page.evaluate("document.getElementById('audio').pause()")
    page.get_by_role("button", name="Copy link to this moment").click()
    page.wait_for_function("() => document.getElementById('status').textContent.match(/#t=[12]\\d/) !== null")


def test_the_strip_seeks_by_keyboard(page, address):
    page.goto(address + THUJA)
    page.locator(".strip a").nth(1).focus()
    page.keyboard.press("Enter")
    page.wait_for_function("() => document.getElementById('audio').currentTime >= 5", timeout=30000)


def test_revision_hides_the_remedy(page, address):
    page.goto(address + THUJA)
    page.get_by_role("button", name="Revise: hide the remedies").click()
    assert page.locator(".covered .hidden-name").first.get_attribute("aria-hidden") == "true"
    page.get_by_role("button", name="Show the remedies").click()
    assert page.locator(".covered").count() == 0
    page.goto(f"{address}revise.html")
    clues = page.locator(".card").all_inner_texts()
    assert clues
    assert all("Show the remedy" in text for text in clues)
    assert not any("Thuja" in text.split("Show the remedy")[0] for text in clues)


def test_print_is_a_handout(page, address):
    page.goto(address + THUJA)
    page.emulate_media(media="print")
    assert not page.locator(".player").is_visible()
    assert not page.locator("#transcript").is_visible()
    assert page.locator("#notes").is_visible()
    assert page.locator(".standing").is_visible()
    assert len(page.pdf()) > 5000


@pytest.mark.parametrize("width", [320, 360, 768, 1280])
def test_no_page_is_wider_than_the_screen(browser, address, site_folder, width):
    context = browser.new_context(viewport={"width": width, "height": 700})
    page = context.new_page()
    for path in ("index.html", THUJA, "sessions/2026-03-23-hostile.html", "remedies/thuja-occidentalis.html",
                 "cases/index.html", "search.html?q=warts", "remedies/index.html", "revise.html"):  # fmt: skip
        page.goto(address + path)
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
    context.close()


def test_search_by_keyboard_alone(page, address):
    page.goto(f"{address}search.html")
    page.keyboard.type("warts")
    page.keyboard.press("Enter")
    page.wait_for_selector("#hits li")
    for _ in range(30):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.closest('#hits') !== null"):
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/sessions/**")


def test_without_javascript_the_lists_lead_to_the_place(browser, address):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{address}index.html")
    page.get_by_role("link", name="Remedies", exact=True).click()
    page.get_by_role("link", name="Thuja occidentalis").click()
    page.locator(".points .time").first.click()
    assert "thuja-1.html#p-" in page.url
    assert page.locator(":target").is_visible()
    assert page.get_by_text("heard: “two yah”").is_visible()
    context.close()


def test_search_works_from_a_disk(page, site_folder):
    page.goto((site_folder / "search.html").as_uri() + "?q=warts")
    page.wait_for_selector("#hits li")
    page.locator("#hits a").first.click()
    page.wait_for_selector("#audio")
    page.faults.clear()  # a caption track is refused on file addresses, as the page About says


def test_a_first_search_is_small(page, address):
    sizes = []
    page.on("response", lambda r: sizes.append(len(r.body())) if r.ok else None)
    find(page, address, "lycopodeum bloated")
    page.wait_for_load_state("networkidle")
    assert sum(sizes) < 300_000


def test_a_hostile_session_does_nothing(page, address):
    page.goto(f"{address}sessions/2026-03-23-hostile.html")
    find(page, address, "flip quoted")
    assert page.evaluate("window.hurt") is None


def test_axe_finds_nothing(browser, address, node_dir):
    axe = (node_dir / "node_modules/axe-core/axe.min.js").read_text("utf-8")
    for scheme in ("light", "dark"):
        context = browser.new_context(bypass_csp=True, color_scheme=scheme)
        page = context.new_page()
        for path in ("index.html", THUJA, "remedies/thuja-occidentalis.html", "remedies/index.html", "symptoms/index.html",
                     "symptoms/stomach--ulcers.html", "cases/index.html", "questions/index.html", "terms/index.html",
                     "compare/index.html", "compare/sulphur--thuja-occidentalis.html", "search.html?q=warts",
                     "revise.html", "about.html", "sessions/index.html"):  # fmt: skip
            page.goto(address + path)
            page.wait_for_load_state("networkidle")
            page.evaluate(axe)
            found = page.evaluate(
                "axe.run(document, {runOnly: ['wcag2a','wcag2aa','wcag21aa','wcag22aa','best-practice']})"
            )
            told = [(v["id"], v["nodes"][0]["html"][:120]) for v in found["violations"]]
            assert not told, (scheme, path, told)
        context.close()


def test_html_is_valid(site_folder, node_dir, tmp_path):
    import json
    import subprocess

    tool = node_dir / "node_modules/.bin/html-validate"
    if not tool.exists():
        pytest.fail("html-validate is missing beside axe-core")
    # The standard's own rules; matters of taste (order, length of titles, trailing blanks) are left to us.
    config = {"root": True, "extends": ["html-validate:standard"], "rules": {"no-trailing-whitespace": "off"}}
    (tmp_path / ".htmlvalidate.json").write_text(json.dumps(config))
    done = subprocess.run(
        [str(tool), "--config", str(tmp_path / ".htmlvalidate.json"), "--formatter", "text",
         *map(str, sorted(site_folder.rglob("*.html")))],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[:3000] + done.stderr[:500]
