"""Two gigabytes in four files through the command itself and a real browser, with a reload in the middle. Run with ``-m benchmark -s``."""

import hashlib
import re
import shutil
import time
from pathlib import Path

import pytest
from playwright.sync_api import expect, sync_playwright

from dashboard.workspace import Workspace, buildings, files, uploads
from tests.dashboard.conftest import CHROMIUM, FLAGS
from tests.dashboard.test_workspace_page import free_port, start
from tests.dashboard.waiting import until
from tests.dashboard.workspaces import ANNA

pytestmark = [pytest.mark.benchmark, pytest.mark.browser]

FILES, EACH = 4, 512 * 1024**2
"""Number and size [B] of the files."""
LEAST_FREE = 3 * FILES * EACH


def log(path, number):
    """A long log of ``EACH`` bytes, unlike the others in its first reading; gives its sum."""
    head = f"time,room,channel,quantity,value\n2026-01-01T00:00:0{number}Z,r{number},,motion,1\n".encode()
    block = "".join(
        f"2026-01-{1 + i // 86400:02}T{i // 3600 % 24:02}:{i // 60 % 60:02}:{i % 60:02}Z,r{number},,motion,{i % 2}\n"
        for i in range(200_000)
    )
    found = hashlib.sha256()
    with path.open("wb") as file:
        left = EACH
        for piece in (head, *[block.encode()] * (EACH // len(block) + 1)):
            file.write(piece[:left])
            found.update(piece[:left])
            left = max(left - len(piece), 0)
    return found.hexdigest()


def peak_mib(pid):
    return int(re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())[1]) / 1024


@pytest.fixture
def page():
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser.new_page()
        browser.close()


@pytest.mark.timeout(3000)
def test_two_gigabytes_arrive_whole_and_go_on_after_a_reload(page, tmp_path):
    assert shutil.disk_usage(tmp_path).free > LEAST_FREE, "the disk has no room for this"
    paths = [tmp_path / f"trend {n}.csv" for n in range(FILES)]
    sums = [log(path, n) for n, path in enumerate(paths)]
    folder, port = tmp_path / "w", free_port()
    ws = Workspace(folder)
    building = buildings.create(ws, {"site": {"name": "Large", "time_zone": "UTC"}}, by=ANNA)
    server = start(folder, port)
    page.on("dialog", lambda dialog: dialog.accept())
    try:
        page.goto(f"http://127.0.0.1:{port}/building/{building}/logs")
        page.get_by_label("Your name").fill(ANNA)
        begun = time.perf_counter()
        page.locator("#file-choice").set_input_files(paths)
        # In the middle of the second file.
        until(page, "document.querySelectorAll('.coming li').length === 3", timeout=600_000)
        while not any(u.received > EACH // 3 for u in uploads.unfinished(ws, building)):
            page.wait_for_timeout(50)
        page.reload()
        (half,) = [u for u in uploads.unfinished(ws, building) if u.received]
        expect(page.get_by_text("Half arrived")).to_be_visible(timeout=60_000)
        starts = []
        page.on("request", lambda r: starts.append(int(r.headers["upload-offset"])) if r.method == "PUT" else None)
        page.locator("#file-choice").set_input_files(paths[1:])
        expect(page.locator(".coming li")).to_have_count(0, timeout=1_200_000)
        took = time.perf_counter() - begun
        expect(page.get_by_role("button", name=re.compile("^Take out trend"))).to_have_count(FILES, timeout=600_000)
        looked = time.perf_counter() - begun - took
        print(
            f"\n{FILES} files of {EACH / 1024**2:.0f} MiB: {took:.1f} s with a reload at {half.received / EACH:.0%} of the second "
            f"({FILES * EACH / took / 1e6:.0f} MB/s); listed {looked:.1f} s later; server's peak {peak_mib(server.pid):.0f} MiB"
        )
        kept = files.all_of(ws, building)
        assert sorted(f.sha256 for f in kept) == sorted(sums)
        for file in kept:
            with (files.uploaded(ws, building) / file.stored).open("rb") as stream:
                assert hashlib.file_digest(stream, "sha256").hexdigest() == file.sha256
        assert half.received >= EACH // 3
        assert min(starts[:1]) >= half.received, "the second file was begun anew"
    finally:
        ws.close()
        server.terminate()
        server.wait(timeout=60)
        for path in (*paths, folder):
            shutil.rmtree(path, ignore_errors=True) if path.is_dir() else path.unlink(missing_ok=True)
