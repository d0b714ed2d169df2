"""How a person works the app's pages: by mouse, by finger, or with keys alone.

With keys alone nothing is clicked or focused from outside: every field and button is reached by Tab, as a
person without a mouse reaches it, and what Tab does not reach fails the test.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

#: Presses of Tab after which a thing counts as out of reach.
FAR = 600
FOCUSED = "(one) => document.activeElement === one"


class Hand:
    """By mouse."""

    #: Pixels of one step on the map.
    step = 80

    def __init__(self, page: Any) -> None:
        self.page = page

    def press(self, what: Any) -> None:
        """Work a button or a link."""
        what.click()

    def write(self, where: Any, text: str) -> None:
        """Type into a field, over what stands there."""
        self.press(where)
        self._type(text)

    def _type(self, text: str) -> None:
        self.page.keyboard.press("Control+a")
        self.page.keyboard.type(text)

    def choose(self, where: Any, value: str) -> None:
        """Choose from a list."""
        where.select_option(value)

    def mark(self, what: Any) -> None:
        """Set one mark of several."""
        self.press(what)

    def bring(self, where: Any, file: Path) -> None:
        """Choose a file."""
        with self.page.expect_file_chooser() as chooser:
            self.press(where)
        chooser.value.set_files(file)

    def nearer(self) -> None:
        """Zoom the map in by one."""
        self.press(self.page.locator(".leaflet-control-zoom-in"))
        self.page.wait_for_timeout(400)  # the map glides

    def corners(self, *places: tuple[float, float]) -> None:
        """Put corners so many steps east and north of where the map began."""
        self.page.locator("#map").evaluate("(map) => map.scrollIntoView({block: 'center'})")
        for east, north in places:
            box = self.page.locator("#map").bounding_box()
            x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
            self._touch(x + east * self.step, y - north * self.step)

    def _touch(self, x: float, y: float) -> None:
        self.page.mouse.click(x, y)


class Finger(Hand):
    """By finger."""

    step = 40

    def press(self, what: Any) -> None:
        what.tap()

    def _touch(self, x: float, y: float) -> None:
        self.page.touchscreen.tap(x, y)


class Keys(Hand):
    """With keys alone."""

    def __init__(self, page: Any) -> None:
        super().__init__(page)
        self._here = (0.0, 0.0)

    def _reach(self, what: Any) -> None:
        element = what.element_handle()
        for _ in range(FAR):
            if self.page.evaluate(FOCUSED, element):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"Tab does not reach {what}")

    def press(self, what: Any) -> None:
        self._reach(what)
        self.page.keyboard.press("Enter")

    def write(self, where: Any, text: str) -> None:
        self._reach(where)
        self._type(text)

    def choose(self, where: Any, value: str) -> None:
        self._reach(where)
        self.page.keyboard.press("Home")
        for _ in range(40):
            if where.input_value() == value:
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"{value!r} is not in the list")

    def mark(self, what: Any) -> None:
        """Tab reaches one mark of the group, the arrows the others."""
        group = self.page.locator(f"input[name='{what.get_attribute('name')}']")
        already = group.and_(self.page.locator(":checked"))
        self._reach(already if already.count() else group.first)
        self.page.keyboard.press("Space")
        for _ in range(group.count()):
            if what.is_checked():
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError("the arrows do not reach it")

    def nearer(self) -> None:
        self._reach(self.page.locator("#map"))
        self.page.keyboard.press("+")
        self.page.wait_for_timeout(400)  # the map glides

    def corners(self, *places: tuple[float, float]) -> None:
        """Enter puts a corner in the middle of the map; the arrows move the map below it."""
        self._reach(self.page.locator("#map"))
        for place in places:
            self._move(place)
            self.page.keyboard.press("Enter")
        self._move((0, 0))

    def _move(self, place: tuple[float, float]) -> None:
        for axis, (less, more) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowDown", "ArrowUp"))):
            steps = round(place[axis] - self._here[axis])
            for _ in range(abs(steps)):
                self.page.keyboard.press(more if steps > 0 else less)
                self.page.wait_for_timeout(350)  # the map glides
        self._here = place
