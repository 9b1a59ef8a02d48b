"""The shop's pages as its people meet them over a real network address of this computer: who gets in, who sees what."""

from __future__ import annotations

import os
import queue
import socket
import subprocess
import threading
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from cabinwright.shop.access import add_user
from cabinwright.shop.people import add_car, add_customer
from cabinwright.shop.store import Store
from cabinwright.shop.trail import Work
from cabinwright.web.serve import _here
from cabinwright.web.shop import SHOP_PAGES
from shop import invented
from web.conftest import chromium, opened
from web.usable import PHONE, RULES, usable

BROWSER = chromium()
pytestmark = pytest.mark.skipif(
    BROWSER is None and not os.environ.get("CI"), reason="no chromium on this computer; CI installs one"
)
WORDS = "kick panels of felt"
COST = "2.7182"  #: what the shop pays for the one part: nowhere else in the shop


class Screen:
    """A served shop: its address here and in the network, and the word that it shows last."""

    def __init__(self, running: subprocess.Popen[str], here: str, there: str) -> None:
        self.here, self.there = here, there
        self._said, self._words = running.stdout, queue.Queue[str]()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        for line in self._said or ():
            if line.startswith("word: "):
                self._words.put(line.split()[1])

    def close(self) -> None:
        """Once the server is gone."""
        self._listener.join(20)
        if self._said is not None:
            self._said.close()

    def word(self) -> str:
        """The next word in the window."""
        return self._words.get(timeout=20)


def made(work: Work) -> None:
    """Two customers with a job each, a part with its cost, three users."""
    own = invented.job(work)
    invented.job(work, name="Jonas Invented", title="Nobody else's business")
    invented.part(work, cost=Decimal(COST))
    customer = add_customer(work, name="Without a job")
    add_car(work, customer_id=customer.id, name="blue van")
    for name, role, whose in (("Mo", "owner", None), ("Ute", "bench", None), ("Mara", "guest", own.car.customer_id)):
        add_user(work, name=name, role=role, password=WORDS, customer_id=whose)


@pytest.fixture(scope="module")
def screen(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Screen]:
    """As a person starts it."""
    folder = tmp_path_factory.mktemp("shop")
    store = Store.open(str(folder))
    store.change(made, by="owner")
    store.close()
    running, address = opened("shop", "open", "--port", "0", "--network", "--database", str(folder))
    port = address.rsplit(":", 1)[1].split("/")[0]
    there = socket.gethostbyname(_here())
    shown = Screen(running, f"http://127.0.0.1:{port}", f"http://{there}:{port}")
    yield shown
    running.terminate()
    running.wait(20)
    shown.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One for all."""
    with sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        yield running
        running.close()


def let_in(context: BrowserContext, word: str, there: str) -> Page:
    """A device that typed the word of the window."""
    page = context.new_page()
    page.goto(f"{there}/shop")
    page.get_by_label("Word").fill(word)
    page.get_by_role("button", name="Let me in").click()
    return page


def log_in(page: Page, where: str, name: str, password: str = WORDS) -> None:
    page.goto(where)
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Log in").click()


def drawn(page: Page, path: str) -> str:
    """What a page shows."""
    page.goto(path)
    page.wait_for_function("document.querySelector('.drawn') || document.querySelector('.alert')?.textContent")
    return page.locator("body").inner_text()


def test_a_bench_sees_no_costs_and_a_guest_nobody_elses_job(screen: Screen, browser: Browser) -> None:
    """One device, one word, three people after each other; then somebody who guesses."""
    if screen.there.startswith("http://127."):
        pytest.skip("this computer is in no network")
    with browser.new_context() as context:
        page = let_in(context, screen.word(), screen.there)
        frames: list[str] = []
        page.on("websocket", lambda socket: socket.on("framereceived", lambda data: frames.append(str(data))))
        page.goto(f"{screen.there}/shop/part?at=1")
        assert page.url.endswith("/shop/login?to=/shop/part%3Fat%3D1")
        assert "wire 21" not in page.content()
        log_in(page, page.url, "Ute")
        expect(page.locator(".drawn")).to_contain_text("W-21 wire 21 mm2, red")
        assert page.url.endswith("/shop/part?at=1")
        got = page.request.get(f"{screen.there}/shop/parts.csv").text()
        assert "4.9" in got and COST not in got
        assert "Nobody else's business" in drawn(page, f"{screen.there}/shop/jobs")
        assert "may not do this" in drawn(page, f"{screen.there}/shop/house")
        assert page.request.get(f"{screen.there}/shop/customer.json?at=999").status == 403
        drawn(page, f"{screen.there}/shop/job?at=1")
        assert not page.get_by_label("Its build folder").count()  # a place on the computer that serves: the owner's
        asked = page.locator("form", has=page.get_by_label("Promised for"))
        asked.evaluate("(form) => form.insertAdjacentHTML('beforeend', '<input name=folder value=/somewhere>')")
        asked.get_by_role("button", name="Keep").click()
        expect(page.locator("body")).to_contain_text("Kept.")
        assert "/somewhere" not in drawn(
            page, f"{screen.there}/shop/job?at=1"
        )  # an answer that was not asked for is none
        assert frames and not any(COST in frame for frame in frames)
        page.get_by_role("link", name="Log out").click()
        assert page.request.get(f"{screen.there}/shop/parts.csv").status == 403

        log_in(page, f"{screen.there}/shop/login", "Mara")
        page.wait_for_selector(".drawn")
        seen = page.locator("body").inner_text()
        assert "Front stage and bay box" in seen and "Jonas" not in seen and "Parts" not in seen
        assert "Front stage" in drawn(page, f"{screen.there}/shop/job?at=1")
        other, none = (drawn(page, f"{screen.there}/shop/job?at={number}") for number in (2, 999))
        assert "There is no job 2" in other and other.replace("job 2", "job 999") == none
        for path in ("/shop/parts", "/shop/customer?at=1", "/shop/log?at=1", "/shop/bench?at=1"):
            assert "may not do this" in drawn(page, screen.there + path)
        for path in ("/shop/parts.csv", "/shop/customer.json?at=1", "/shop/photograph?at=1"):
            assert page.request.get(screen.there + path).status == 403

        for number in range(6):
            log_in(page, f"{screen.there}/shop/login", "Mo", f"wrong words {number}")
        expect(page.get_by_role("alert")).to_contain_text("Too many wrong tries")
        log_in(page, f"{screen.there}/shop/login", "Mo")
        expect(page.get_by_role("alert")).to_contain_text("Too many wrong tries")


def test_another_device_needs_a_word_of_its_own(screen: Screen, browser: Browser) -> None:
    if screen.there.startswith("http://127."):
        pytest.skip("this computer is in no network")
    with browser.new_context() as context:
        page = context.new_page()
        assert page.goto(f"{screen.there}/shop").status == 401  # type: ignore[union-attr]
        assert page.request.get(f"{screen.there}/shop/parts.csv").status == 401


def test_everybody_can_use_it(screen: Screen, browser: Browser) -> None:
    """The owner at the computer itself: WCAG 2.2 AA by axe-core in both schemes, 44 px to touch, no wider than a phone."""
    touched = "button, a.act, input:not([type=checkbox], [type=radio]), select, .pick"
    with browser.new_context(viewport=PHONE) as context:
        page = let_in(context, screen.word(), screen.here)
        for one in SHOP_PAGES:
            path = one.path if one.listed else f"{one.path}?at=1"
            page.goto(screen.here + path)
            page.wait_for_selector(".drawn")
            page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
            usable(page, path, touched=touched)
        found = Axe().run(page, options={"runOnly": RULES}) if page.goto(f"{screen.here}/shop/login") else None
        assert found is not None and found.violations_count == 0, found and found.generate_report()


def test_what_is_typed_is_kept_and_an_error_is_told(screen: Screen, browser: Browser, tmp_path: Path) -> None:
    """From a customer to a moved part at the owner's own computer; a list with a mistake changes nothing."""
    with browser.new_context() as context:
        page = let_in(context, screen.word(), screen.here)
        drawn(page, f"{screen.here}/shop/customers")
        page.get_by_label("Name", exact=True).fill("Ada <b>Invented</b>")
        page.get_by_label("Their car").fill("red coupé")
        page.get_by_role("button", name="Add the customer").click()
        expect(page.get_by_role("status")).to_have_text("Added.")
        page.get_by_role("link", name="Ada <b>Invented</b>").click()
        expect(page.locator(".drawn")).to_contain_text("red coupé")
        late = context.new_page()
        drawn(late, page.url)
        for one, words in ((page, "two keys"), (late, "one key")):
            one.get_by_text("Change red coupé").click()
            one.locator("details[open]").get_by_label("Note").fill(words)
            one.locator("details[open]").get_by_role("button", name="Keep").click()
            if one is page:
                expect(page.get_by_role("status")).to_have_text("Kept.")
        expect(late.get_by_role("alert")).to_contain_text("note: now two keys; yours one key")
        expect(late.get_by_role("alert")).not_to_contain_text("registration")
        late.close()
        drawn(page, f"{screen.here}/shop/house")
        page.get_by_label("Name", exact=True).nth(1).fill("VAT")
        page.get_by_label("Rate (%)").fill("20")
        page.get_by_role("button", name="Add the rule").click()
        expect(page.locator(".drawn")).to_contain_text("taxed by the rule standard, which is not there")
        page.get_by_label("Tax rule for work").select_option("VAT")
        page.get_by_role("button", name="Keep").first.click()
        expect(page.get_by_role("status")).to_have_text("Kept.")
        expect(page.locator(".drawn")).not_to_contain_text("which is not there")
        drawn(page, f"{screen.here}/shop/part?at=1")
        page.get_by_label("How much (m)").fill("3")
        page.get_by_text("scrapped", exact=True).click()
        page.get_by_role("button", name="Keep").first.click()
        expect(page.get_by_role("alert")).to_contain_text("0 m on the shelf, 3 asked")
        page.get_by_label("How much (m)").fill("12,5")
        page.get_by_text("received", exact=True).first.click()
        page.get_by_role("button", name="Keep").first.click()
        expect(page.locator(".tile").first).to_contain_text("12.5 m")
        drawn(page, f"{screen.here}/shop/parts")
        listed = tmp_path / "list.csv"
        listed.write_text(
            "number,name,kind,price,tax\nF-80,fuse 80 A,fuse,3.1,VAT\nF-81,fuse,none such,x,VAT\n", encoding="utf-8"
        )
        page.set_input_files("#list", str(listed))
        expect(page.locator(".drawn")).to_contain_text("list.csv:3")
        expect(page.locator(".drawn")).to_contain_text("Nothing was written")
        listed.write_text(
            "number,name,kind,price,tax\nF-80,fuse 80 A,fuse,3.1,VAT\nW-21,wire 21 mm2,wire,5,VAT\n", encoding="utf-8"
        )
        page.set_input_files("#list", str(listed))
        expect(page.locator(".drawn")).to_contain_text("1 new part, 1 changed")
        page.get_by_role("button", name="Take all of it in").click()
        expect(page.get_by_role("status")).to_have_text("1 added, 1 changed.")
        expect(page.locator(".drawn")).to_contain_text("F-80 fuse 80 A")
        page.get_by_label("Number or words").fill("fuse")
        page.get_by_role("button", name="Find").click()
        page.get_by_role("link", name="F-80 fuse 80 A").click()
        expect(page.locator(".drawn")).to_contain_text("On the shelf")
        page.go_back()  # to what was found, not to the whole list
        expect(page.locator(".drawn")).to_contain_text("1 part")
        expect(page.get_by_label("Number or words")).to_have_value("fuse")
