"""The page of the cutting table in a real browser: measured, voided, and true to the pixel."""

import json
import re
import time

import numpy as np
import pytest
from selenium.webdriver.common.keys import Keys

from plybook.write.offline import asset
from tests.browser.chrome import until
from tests.browser.table_pages import lamp, on_page, photo, skin_plan, write_page

VIEW = 1280, 800
SIZE_MM = 900.0, 600.0
SLANTED = [[210.0, 690.0], [1130.0, 655.0], [1010.0, 120.0], [265.0, 95.0]]
BOX = "800", "943.4", "943.4"  # 8 by 5 hundred mm; its diagonal by Pythagoras


@pytest.fixture
def plan():
    return skin_plan()


@pytest.fixture
def page(window, plan, tmp_path):
    opened = window()
    opened.size(*VIEW)
    opened.path = write_page(tmp_path, plan)
    return opened.open(opened.path)


def choose(page, name, value):
    page.js(
        "const e = document.getElementById(arguments[0]); e.value = arguments[1];"
        "e.dispatchEvent(new Event('change')); e.dispatchEvent(new Event('input'))",
        name, value,
    )  # fmt: skip


def task(page, name):
    page.js("document.querySelector(`[data-task=${arguments[0]}]`).click()", name)


def measure(page, *lengths):
    task(page, "measure")
    for name, value in zip(("along", "rising", "falling"), lengths, strict=True):
        choose(page, name, value)
    page.js("document.getElementById('judge').click()")
    return page.text("#verdict")


def press(page, *keys):
    page.js("document.activeElement.blur()")
    for key in keys:
        page.find("body").send_keys(key)


def set_corners(page, corners):
    """Keep corners as an earlier session would have, and open the page again."""
    kept = {"unit": "mm", "length": SIZE_MM[0], "width": SIZE_MM[1], "limit": 1,
            "corners": {f"{VIEW[0]},{VIEW[1]},1": corners}}  # fmt: skip
    page.js("localStorage.setItem('plybook.table', arguments[0])", json.dumps(kept))
    page.driver.refresh()


def panel(page, shown):
    if page.find("#panel").is_displayed() != shown:
        press(page, "m")


def alarm(page):
    return page.text("#alarm") if page.find("#alarm").is_displayed() else ""


def test_the_homography_is_the_published_one(window, tmp_path):
    """Four points to a square of 300, with the matrix printed in a public worked example of
    perspective correction; the same eight equations solved by numpy (LAPACK)."""
    opened = window()
    opened.driver.get("about:blank")
    known = [(33, 582), (151, 579), (145, 702), (25, 703)]
    square = [(0, 0), (300, 0), (300, 300), (0, 300)]
    found = opened.js(
        asset("table/plane.js") + "; return homography(arguments[0], arguments[1])", known, square
    )
    published = [2.86405074, 0.189358727, -204.720453, 0.0710878995, 2.79612405, -1629.6901,
                 1.60734029e-4, 1.73337133e-4, 1.0]  # fmt: skip
    assert found == pytest.approx(published, rel=2e-7)
    rng = np.random.default_rng(7)
    for _ in range(20):
        corners = np.array(square, float) + rng.uniform(-80, 80, (4, 2))
        ours = opened.js(
            asset("table/plane.js") + "; return homography(arguments[0], arguments[1])",
            [(0, 0), (900, 0), (900, 600), (0, 600)], corners.tolist(),
        )  # fmt: skip
        assert np.reshape(ours, (3, 3)) == pytest.approx(lamp(SIZE_MM, corners), rel=1e-6, abs=1e-9)
    line = [(0, 0), (1, 1), (2, 2), (0, 5)]
    code = asset("table/plane.js") + "; return homography(arguments[0], arguments[1])"
    assert opened.js(code, line, square) is None


def bright_near(pixels, at, way, reach=9.0):
    """How far along a direction from a point the middle of a bright line lies, px."""
    steps = np.arange(-reach, reach + 0.01, 0.1)
    spots = np.asarray(at) + np.outer(steps, way)
    x, y = spots[:, 0] - 0.5, spots[:, 1] - 0.5  # a pixel's value is that of its middle
    i, j = np.floor(x).astype(int), np.floor(y).astype(int)
    fx, fy = x - i, y - j
    grey = pixels.mean(axis=2)
    light = (
        grey[j, i] * (1 - fx) * (1 - fy) + grey[j, i + 1] * fx * (1 - fy)
        + grey[j + 1, i] * (1 - fx) * fy + grey[j + 1, i + 1] * fx * fy
    )  # fmt: skip
    assert light.max() > 40, f"nothing is lit near {at}"
    return float((steps * light).sum() / light.sum())


def test_a_grid_lies_where_the_lamp_throws_it(page):
    """Every crossing of the hundred-millimetre grid, seen in a screenshot, against the homography
    worked out here."""
    set_corners(page, SLANTED)
    task(page, "measure")
    panel(page, False)
    pixels, h = photo(page), lamp(SIZE_MM, SLANTED)
    off = []
    for y in (50, 150, 250, 350, 450, 550):  # between the lines that run along
        for x in (300, 400, 500, 600):
            if abs(y - 300 - (x - 450) * 500 / 800) < 30 or abs(y - 300 + (x - 450) * 5 / 8) < 30:
                continue  # a diagonal of the box is near
            if y == 150 or (y == 350 and 350 < x < 550) or y == 50:
                continue  # words, or the side of the box
            here, beside = on_page(h, [(x, y), (x + 1, y)])
            way = (beside - here) / np.hypot(*(beside - here))
            off.append(bright_near(pixels, here, way))
    assert len(off) >= 8
    assert np.abs(off).max() < 0.6, off


def test_a_piece_lies_on_the_table_as_large_as_the_plan_says(window, plan, tmp_path):
    """Its sides and its opening are sought in the picture, along the lamp's own homography; a piece
    that fits the rectangle lies in the middle of it."""
    ring = np.array([(100, -50), (700, -20), (690, 380), (400, 390), (380, 200), (120, 210)], float)
    hole = np.array([(500, 80), (600, 80), (600, 160), (500, 160)], float)
    plan["pieces"][0] |= {"outline_mm": ring.tolist(), "holes_mm": [hole.tolist()], "marks": []}
    page = window()
    page.size(*VIEW)
    page.open(write_page(tmp_path, plan))
    set_corners(page, SLANTED)
    assert measure(page, *BOX).startswith("IN")
    choose(page, "sight", str(len(plan["layouts"])))
    panel(page, False)
    start = (ring.min(axis=0) + ring.max(axis=0) - SIZE_MM) / 2
    pixels, h = photo(page), lamp(SIZE_MM, SLANTED)
    off = []
    for outline in (ring, hole):
        for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            along = (b - a) / np.hypot(*(b - a))
            for t in np.linspace(0.1, 0.9, 9):
                at = (1 - t) * a + t * b - start
                here, beside = on_page(h, [at, at + (-along[1], along[0])])
                scale = np.hypot(*(beside - here))
                off.append(bright_near(pixels, here, (beside - here) / scale, 5.0) / scale)
    assert len(off) == 90
    assert np.abs(off).max() < 0.7, off  # mm; a pixel is 1.0 to 1.3 mm of this table


def test_nothing_is_to_be_cut_by_before_the_box_is_measured(page):
    assert "NOT TO CUT BY: the page was opened" in alarm(page)
    assert measure(page, "803", "943.4", "943.4").startswith("OUT: side: 3 mm too long")
    assert "the measured box is wrong" in alarm(page)
    assert "no length" in measure(page, "800", "", "943.4")
    assert "diagonal \\: 1.4 mm too short" in measure(page, "800", "943.4", "942")
    assert measure(page, *BOX) == "IN: ready to cut."
    assert alarm(page) == ""
    assert page.text("#state").startswith("Measured at ")


@pytest.mark.parametrize(
    ("move", "why"),
    [
        (lambda page: page.size(1270, 800), "changed its size"),
        (lambda page: page.js("document.dispatchEvent(new Event('fullscreenchange'))"),
         "full screen was turned on or off"),
        (lambda page: choose(page, "length", "910"), "another size"),
        (lambda page: page.js("Object.defineProperty(window, 'screenX', {value: 77})"),
         "the window was moved"),
        (lambda page: (task(page, "corners"),
                       page.find(".corner[data-k='2']").send_keys(Keys.ARROW_LEFT)),
         "a corner was moved"),
    ],
)  # fmt: skip
def test_what_moves_the_picture_voids_the_measuring(page, move, why):
    assert measure(page, *BOX).startswith("IN")
    move(page)
    until(lambda: why in alarm(page))
    assert page.js("return document.getElementById('state').textContent") == "Not measured"


def test_true_full_screen_voids_the_measuring(page):
    assert measure(page, *BOX).startswith("IN")
    page.find("#whole").click()
    until(lambda: "full screen" in alarm(page) or "changed its size" in alarm(page))


def test_a_window_moved_while_nothing_is_measured_hides_no_other_reason(page):
    move = "Object.defineProperty(window, 'screenX', {value: arguments[0], configurable: true})"
    assert measure(page, "803", "943.4", "943.4").startswith("OUT")
    page.js(move, 77)
    time.sleep(0.7)  # the page looks every half second
    assert "the measured box is wrong" in alarm(page)
    assert measure(page, *BOX).startswith("IN")
    time.sleep(0.7)
    assert alarm(page) == ""
    page.js(move, 78)
    until(lambda: "the window was moved" in alarm(page))


def test_corners_are_dragged_kept_and_must_run_round(page):
    from selenium.webdriver import ActionChains

    corner = page.find(".corner[data-k='0']")
    before = corner.rect
    ActionChains(page.driver).drag_and_drop_by_offset(corner, -40, 25).perform()
    assert (corner.rect["x"] - before["x"], corner.rect["y"] - before["y"]) == (-40, 25)
    corner.send_keys(Keys.ARROW_RIGHT, Keys.SHIFT + Keys.ARROW_UP)
    assert (corner.rect["x"] - before["x"], corner.rect["y"] - before["y"]) == (-39, 15)
    moved = corner.rect
    page.driver.refresh()
    assert page.find(".corner[data-k='0']").rect == moved
    assert "NOT TO CUT BY" in alarm(page)
    crossed = [SLANTED[1], SLANTED[0], SLANTED[2], SLANTED[3]]
    set_corners(page, crossed)
    assert "crossed over or mirrored" in alarm(page)
    assert measure(page, *BOX).startswith("OUT")


def test_inches_are_typed_and_read_as_a_tape_shows_them(page):
    choose(page, "unit", "in")
    choose(page, "length", "35 1/2")
    choose(page, "width", "23-5/8")
    assert page.text("#diagonal") == "Its two diagonals measure 42 21/32 in each."
    task(page, "measure")  # by hand: 32 in along, 20 up, sqrt(32² + 20²) = 37.736
    assert page.text("#expected").startswith("Side 32, both diagonals 37 3/4 in")
    assert measure(page, "32", "37 23/32", "37.74") == "IN: ready to cut."
    choose(page, "length", "a yard")
    assert "write a length" in page.js("return document.getElementById('length-wrong').textContent")


def test_keys_go_from_view_to_view_and_from_piece_to_piece(page, plan):
    measure(page, *BOX)
    task(page, "cut")
    panel(page, False)
    foot = lambda: page.text("#foot")  # noqa: E731
    layout = plan["layouts"][0]
    assert f"roll {layout['stock']}" in foot() and "view 1 of" in foot() and "LEFT HAND" in foot()
    press(page, Keys.SPACE)
    assert "view 2 of" in foot()
    press(page, Keys.PAGE_UP)
    assert "view 1 of" in foot()
    press(page, Keys.ARROW_RIGHT)
    here = [set(re.search(r"landmarks ([\d, ]+)", foot())[1].split(", "))]
    press(page, Keys.ARROW_LEFT)
    here.append(set(re.search(r"landmarks ([\d, ]+)", foot())[1].split(", ")))
    assert len(here[0] & here[1]) >= 2, "two views side by side share two landmarks"
    press(page, "n")
    first = re.search(r"piece (\S+) \(1 of", foot())
    press(page, "n", "p")
    assert first and f"piece {first[1]} (1 of" in foot()
    press(page, Keys.SHIFT + Keys.ARROW_RIGHT)
    assert "moved by 1, 0 mm" in foot()
    press(page, Keys.SHIFT + Keys.ARROW_LEFT, Keys.SHIFT + Keys.ARROW_LEFT)
    assert "moved by \u22121, 0 mm" in foot()
    choose(page, "sight", str(len(plan["layouts"])))
    assert f"piece {plan['pieces'][0]['id']}" in foot()
    press(page, "n")
    assert f"piece {plan['pieces'][1]['id']}" in foot()


def test_every_view_of_every_sight_has_two_landmarks_with_the_next(page, plan):
    measure(page, *BOX)
    task(page, "cut")
    panel(page, False)
    for k in range(len(plan["layouts"])):
        choose(page, "sight", str(k))
        said, seen = "", []
        while (now := page.text("#foot")) != said:
            said = now
            marks = re.search(r"landmarks ([\d, ]+)", now)
            if marks is None:
                break
            seen.append(set(marks[1].split(", ")))
            press(page, Keys.SPACE)
        assert all(len(a & b) >= 2 for a, b in zip(seen, seen[1:], strict=False))


def test_a_roll_longer_than_the_table_is_shown_by_the_lines_of_its_bays(window, tmp_path):
    """Figures are those from the line; views follow one another bay by bay, and each has two
    landmarks with the next one."""
    plan = skin_plan(table_mm=1500.0)
    bays = plan["layouts"][0]["bays"]
    assert len(bays) > 2
    opened = window()
    opened.size(*VIEW)
    page = opened.open(write_page(tmp_path, plan))
    measure(page, *BOX)
    task(page, "cut")
    panel(page, False)
    said, seen, met = "", [], []
    while (now := page.text("#foot")) != said:
        said = now
        told = re.search(r"bay (\d+) of (\d+), view (\d+) of (\d+), from (\d+) to (\d+) mm behind "
                         r"line (\d+)", now)  # fmt: skip
        bay, count, view, views, low, high, line = map(int, told.groups())
        assert bay == line and count == len(bays) and 1 <= view <= views
        assert 0 <= low < high <= bays[bay - 1]["to_mm"] - bays[bay - 1]["at_mm"] + 100
        met.append((bay, view))
        seen.append(set(re.search(r"landmarks ([\d, ]+)", now)[1].split(", ")))
        press(page, Keys.SPACE)
    assert met == sorted(set(met)) and {bay for bay, _ in met} == {b["number"] for b in bays}
    assert all(len(a & b) >= 2 for a, b in zip(seen, seen[1:], strict=False))
    assert page.complaints() == []


def test_nothing_leaves_the_page_and_the_policy_holds(page):
    page.requests()  # those of the browser's own first page
    page.driver.refresh()
    measure(page, *BOX)
    task(page, "cut")
    press(page, "n", Keys.SPACE)
    asked = [a for a in page.requests() if not a.startswith(("data:", "about:"))]
    assert asked == [page.path.as_uri()]
    page.js("fetch('https://example.org/').catch(() => {})")
    assert any("content security policy" in c.lower() for c in until(page.complaints))


def test_a_browser_that_keeps_nothing_is_told_of(window, plan, tmp_path):
    opened = window(storage=False)
    opened.size(*VIEW)
    opened.open(write_page(tmp_path, plan))
    assert "keeps nothing" in opened.text("#kept")
    assert measure(opened, *BOX).startswith("IN")


def test_names_cannot_leave_their_place(window, plan, tmp_path):
    plan["part"]["name"] = "</script><script>document.title='out'</script>"
    plan["pieces"][0]["layer"] = "<img src=x onerror=document.title='out'>"
    opened = window()
    opened.open(write_page(tmp_path, plan))
    assert opened.driver.title != "out" and opened.complaints() == []
