"""The Hidden fault page in a real browser: a practice case to its marking, a case of a class, what the instructor sees."""

import re

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect
from serving import CLASS, CLASS_KEY, PASSWORD, ROUND
from test_trip_in_browser import part, violations

from sim.hidden.causes import CAUSES
from sim.hidden.key import entry_word, hidden_by, practice_key

WINDOWS = [(1366, 768), (1920, 1080), (1024, 768)]
WORDS = "The engine reaches its power, but only a low speed without load: the governor takes the fuel away early."


def practice_of(name):
    """The first practice case that hides a cause."""
    cause = next(cause for cause in CAUSES if cause.name == name)
    numbers = range(10_000)
    return next(n for n in numbers if hidden_by(practice_key(n), {"practice": n}, cause.level).cause is cause)


def carried_out(seen, name, number):
    seen.page.locator(f"[data-test='{name}']").click()
    expect(part(seen, "latest").locator("h3")).to_have_text(re.compile(rf"^{number}\. {name}"), timeout=20_000)


def answered(seen, chosen, failure):
    seen.page.locator("#fault-part").select_option(chosen)
    seen.page.locator("#fault-failure").select_option(failure)
    seen.page.get_by_role("button", name="Answer", exact=True).click()
    seen.page.get_by_role("button", name="Yes, that is my answer").click()


def test_a_practice_case_from_complaint_to_marking(visit):
    number = practice_of("governor: acts early")
    seen = visit(f"/hidden-fault?practice={number}&level=3")
    page = seen.page
    expect(page.locator("blockquote")).to_have_text("It will not rev out.", timeout=20_000)
    carried_out(seen, "look", 1)
    carried_out(seen, "idle", 2)
    expect(part(seen, "latest")).to_contain_text("\u25bc low")
    page.get_by_role("button", name="US", exact=True).click()
    page.locator("#fault-about-drive").select_option("level")
    carried_out(seen, "drive", 3)
    expect(part(seen, "latest")).to_contain_text("mi/h")
    page.get_by_role("button", name="metric", exact=True).click()
    page.locator("#fault-tick-3").uncheck()
    expect(part(seen, "answer")).to_contain_text("rests on tests 1, 2")
    for size in WINDOWS:
        page.set_viewport_size({"width": size[0], "height": size[1]})
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        page.evaluate("window.scrollTo(0, 0)")
        seen.shoot(f"hidden-fault-{size[0]}")
    assert violations(page) == []

    # a test that cannot be, then a wrong answer; the case is there again after a reload
    page.locator("#fault-own-road").fill("grade:4%,90km")
    page.locator("[data-test='drive']").click()
    expect(part(seen, "error")).to_contain_text("allowed is at most 25 km")
    answered(seen, "air filter", "blocked")
    expect(part(seen, "state")).to_contain_text("It is another part. Attempts left: 2")
    page.reload()
    expect(part(seen, "complaint")).to_contain_text("2 attempts left", timeout=20_000)
    expect(part(seen, "record")).to_contain_text("2. idle")
    page.locator("#fault-why").fill(WORDS)
    answered(seen, "governor", "acts early")
    expect(part(seen, "marking")).to_contain_text("It was: governor: acts early", timeout=60_000)
    expect(part(seen, "marking")).to_contain_text("2 of 4")
    expect(part(seen, "marking")).to_contain_text("A short path")
    assert violations(page) == []
    with page.expect_download() as got:
        page.get_by_role("button", name="Lab sheet, to print").click()
    assert "It was: <b>governor: acts early</b>" in got.value.path().read_text()


def test_a_case_of_a_class_and_what_the_instructor_sees(visit):
    one, other = visit("/hidden-fault"), visit("/hidden-fault", WINDOWS[2])
    word = entry_word(CLASS_KEY, CLASS, ROUND, "Ann Lee")
    one.page.locator("#fault-student").fill("Ann Lee")
    one.page.locator("#fault-word").fill("AAAA-AAAA")
    one.page.get_by_role("button", name="Open my case").click()
    expect(part(one, "error")).to_contain_text("do not belong together")
    one.page.wait_for_timeout(1100)  # the word after a wrong one is looked at after a second
    for seen in (one, other):
        seen.page.locator("#fault-student").fill("ann lee")
        seen.page.locator("#fault-word").fill(word.lower())
        seen.page.locator("#fault-word").press("Enter")
        expect(seen.page.locator("blockquote")).to_be_visible(timeout=20_000)
    assert "ann" not in one.page.url.lower() and word not in one.page.url
    carried_out(one, "codes", 1)
    carried_out(other, "values", 2)
    expect(part(other, "record")).to_contain_text("1. codes")
    assert "ann lee" not in part(one, "instructor").inner_text().lower()

    # the instructor, from anywhere, by keyboard
    third = visit("/hidden-fault", (1920, 1080))
    sign_in(third, PASSWORD)
    expect(part(third, "instructor")).to_contain_text("ann lee")
    third.page.locator("#fault-word-for").fill("Ann Lee")
    third.page.locator("#fault-word-for").press("Enter")
    expect(part(third, "instructor").locator(".entry-word")).to_have_text(word)
    third.shoot("hidden-fault-class")
    assert violations(third.page) == []


def sign_in(seen, password):
    """Opens the form and types a password, with the keys alone."""
    page = seen.page
    summary = part(seen, "instructor").locator("summary")
    expect(summary).to_be_visible(timeout=20_000)
    if not page.locator("#fault-password").is_visible():
        summary.focus()
        page.keyboard.press("Enter")
    expect(page.locator("#fault-password")).to_be_visible()
    summary.focus()
    page.keyboard.press("Tab")
    page.keyboard.type(password)
    page.keyboard.press("Enter")


@pytest.mark.parametrize("size", [(390, 844), (1024, 768), (1920, 1080)], ids=str)
def test_the_instructor_signs_in_and_out(visit, size):
    seen = visit("/hidden-fault", size)
    page, box = seen.page, part(seen, "instructor")
    expect(box).to_contain_text("For the instructor", timeout=20_000)
    expect(page.locator("#fault-password")).to_be_hidden()
    assert "class.csv" not in box.inner_html()
    sign_in(seen, PASSWORD)
    expect(box.get_by_role("button", name="Look again")).to_be_visible()
    expect(box.get_by_role("button", name="Look again")).to_be_focused()
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert violations(page) == []
    cookie = next(each for each in page.context.cookies() if each["name"] == "haulbench-instructor")
    assert cookie["httpOnly"] and cookie["sameSite"] == "Strict" and not cookie["secure"]
    assert "haulbench-instructor" not in page.evaluate("document.cookie")
    with page.expect_download() as got:
        box.get_by_role("link", name="Download class.csv").click()
    assert got.value.path().read_text().startswith("student")
    page.reload()
    expect(box.get_by_role("button", name="Look again")).to_be_visible(timeout=20_000)
    box.scroll_into_view_if_needed()
    seen.shoot(f"hidden-fault-instructor-{size[0]}")
    box.get_by_role("button", name="Sign out").click()
    expect(page.locator("#fault-password")).to_have_value("")
    assert "class.csv" not in box.inner_html()

    # a wrong word: it says so, the field is empty, and the right one has to wait a second
    sign_in(seen, "guess")
    expect(box.get_by_role("alert")).to_contain_text("this is not the password")
    expect(page.locator("#fault-password")).to_have_value("")
    expect(page.locator("#fault-password")).to_be_focused()
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    expect(box.get_by_role("alert")).to_contain_text("give it again in 1 s")
    box.scroll_into_view_if_needed()
    seen.shoot(f"hidden-fault-sign-in-{size[0]}")
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert violations(page) == []
    page.wait_for_timeout(1100)
    sign_in(seen, PASSWORD)
    expect(box.get_by_role("button", name="Look again")).to_be_visible()
