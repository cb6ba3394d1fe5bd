"""The pictures of README's way through the demo building, taken anew: ``python -m tests.tour [FOLDER]``.

Take them again whenever a page or a figure of the demo building has changed, and look at them before they are kept.
"""

import base64
import re
import subprocess
import sys
from pathlib import Path

from playwright.sync_api import expect, sync_playwright

import dashboard
from dashboard import ids
from tests.dashboard.conftest import CHROMIUM, FLAGS
from tests.dashboard.test_workspace_page import free_port
from tests.dashboard.waiting import until_drawn, whole

FOLDER = Path(dashboard.__file__).parent / "tour"
QUALITY = 0.82
"""Of WebP. Chosen by us: lines of figures stay clean at a tenth of the bytes."""
BUILDING = "brimholt-library-and-music-school"
WIDE = 1280
TICKED = 3
ACCEPTED = ["office_north/ceiling", "seminar_room/wall", "seminar_room/window", "corridor/ceiling", "store/ceiling"]
TO_THE_TOP = "e => window.scrollTo(0, e.getBoundingClientRect().top + scrollY - 8)"
AS_WEBP = """async ([data, quality]) => {
  const picture = new Image(); picture.src = 'data:image/png;base64,' + data; await picture.decode();
  const canvas = Object.assign(document.createElement('canvas'), {width: picture.width, height: picture.height});
  canvas.getContext('2d').drawImage(picture, 0, 0);
  return canvas.toDataURL('image/webp', quality).split(',')[1];
}"""


def take(page, here, keep):
    """Walk through the demo building; ``keep`` gets each picture's name and its PNG."""
    page.goto(here)
    page.get_by_label("Your name").fill("Anna Berg")
    page.get_by_label("Your name").press("Tab")
    expect(page.get_by_role("link", name="Office north")).to_be_visible()
    page.goto(f"{here}?sel={'~'.join(ACCEPTED[:TICKED])}")
    expect(page.get_by_label("Selected rooms")).to_contain_text(f"{TICKED} channels")
    page.set_viewport_size({"width": WIDE, "height": 1000})
    page.get_by_role("heading", name=re.compile("^Rooms")).evaluate(TO_THE_TOP)
    keep("rooms", page)

    page.set_viewport_size({"width": WIDE, "height": 900})
    page.goto(f"{here}/room/office_north?channel=ceiling")
    expect(page.locator(f"#{ids.DELAY}[style*='--drawn']")).to_be_visible()
    keep("room", page)

    page.goto(f"{here}/room/office_north?channel=ceiling&hold=900")
    whole(page)
    until_drawn(page.locator(f"#{ids.OFF_BOX}"))
    keep("switch-off", page.locator(f"#{ids.OFF_BOX}"))
    keep("try", page.locator(f"#{ids.TRY_BOX}"))

    page.goto(f"{here}?sel={'~'.join(ACCEPTED)}")
    page.get_by_role("button", name="Accept", exact=True).click()
    expect(page.get_by_label("Selected rooms")).to_contain_text(f"{len(ACCEPTED)} channels accepted.")
    page.set_viewport_size({"width": 1120, "height": 800})
    page.goto(f"{here}/settings.html")
    keep("sheet", page)


def main():
    """Start the demo, take the pictures, end it."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    port = free_port()
    server = subprocess.Popen([sys.executable, "-m", "tuning.cli", "demo", "--port", str(port)], stdout=subprocess.PIPE)
    try:
        assert server.stdout.readline().startswith(b"holdoff: ")
        # Long enough to analyse the building on a busy machine.
        expect.set_options(timeout=180_000)
        with sync_playwright() as driver:
            browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
            page = browser.new_page(viewport={"width": WIDE, "height": 900}, reduced_motion="reduce")
            page.set_default_timeout(60_000)
            studio = browser.new_page()

            def keep(name, what):
                page.mouse.move(0, 0)
                page.wait_for_timeout(500)
                png = what.screenshot()
                webp = studio.evaluate(AS_WEBP, [base64.b64encode(png).decode(), QUALITY])
                (folder / f"{name}.webp").write_bytes(base64.b64decode(webp))

            take(page, f"http://127.0.0.1:{port}/building/{BUILDING}", keep)
            browser.close()
    finally:
        server.terminate()
        server.wait(timeout=30)


if __name__ == "__main__":
    main()
