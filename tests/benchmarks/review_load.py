"""Many people review and decide at once, in browsers, against the command itself: nothing may be lost, doubled or slow.

``python -m tests.benchmarks.review_load --people 20 --minutes 5``; ``--postgres`` starts a server of PostgreSQL for it, ``--database URL`` takes an
empty database of another. Everything stays on this machine.

Each person has an account and a browser context of one headless Chromium, goes from the list to a room, in three of five rooms down to the days
and the switch-offs below them, looks at one, says a word on every other, decides in four of five, goes back. Between two clicks a person
reads for 10 to 30 s, on either database: a room is a page of ten figures and their sentences, and whoever judges a switch-off or decides looks at
some of them first. ``--reads 3 9`` is the pace of somebody who only clicks.

In the field every browser has a machine of its own; here twenty share two cores with the server, and their drawing is most of what the cores
do. So some people are looked at (``--observed``): their browser has the processor before the others', as if it were their own, while the others
make the load that the server answers under. Three times are told of each answer, for those looked at and for all others: as the page gets it, with
all waiting of the page itself; from the request's first byte to the answer's first as the browser's network stack has it, which runs beside the
page; and as the server counts it, of all.

Five people share a building, so that they decide about the same channels. Words are followed by new analyses, which the worker makes meanwhile.
What each click was told is held against the database at the end.
"""

import argparse
import asyncio
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter, defaultdict
from contextlib import ExitStack, closing
from pathlib import Path

import numpy as np
from playwright.async_api import Error, TimeoutError, async_playwright
from sqlalchemy import select

from dashboard import ids
from dashboard.serve import demo_folder
from dashboard.workspace import Workspace, accounts, audit, decisions, jobs
from dashboard.workspace.importing import import_folder
from dashboard.workspace.tables import VerdictRow
from tests.dashboard.conftest import CHROMIUM, FLAGS
from tests.postgres import running

READS_S = (10.0, 30.0)
"""Least and most [s]. Chosen by us: who reads the evidence before the next click."""
BEHIND = "chrt --idle 0"
"""How the browsers of those are started who only make the load: they get what the server and the others leave, which is most."""
SHARED_BY = 5
"""People of one building."""
WANTED_S = 0.5
PASSWORD = "violet anchor biscuit rain"
CALLBACK, POLL, NEWS = "/_dash-update-component", "status", "/api/news"


class Told:
    """What everybody was told, and how long it took."""

    def __init__(self):
        self.decided, self.said, self.refused = defaultdict(list), Counter(), Counter()
        self.errors, self.measuring, self.clicks = [], False, 0
        self.times, self.on_the_way = defaultdict(list), defaultdict(list)
        """By callback, and whether the person is looked at."""


def name_of(request):
    """The element that a callback fills first."""
    output = json.loads(request.post_data or "{}").get("output", "")
    return output.lstrip(".").split(".")[0]


def texts(part):
    """All words of a component, as the server sent it."""
    if isinstance(part, str):
        yield part
    elif isinstance(part, list):
        for each in part:
            yield from texts(each)
    elif isinstance(part, dict):
        yield from texts(part.get("props", {}).get("children"))


class Person:
    def __init__(self, number, url, building, told, reads_s, *, observed):
        self.name, self.url, self.building, self.told = f"Person {number}", url, building, told
        self.observed = observed
        self.reads_s = reads_s
        self.rng = random.Random(number)

    async def reads(self):
        await asyncio.sleep(self.rng.uniform(*self.reads_s))

    async def comes(self, browser):
        context = await browser.new_context(viewport={"width": 1280, "height": 900})
        # A busy machine may take its time; how long it took is what is measured.
        context.set_default_timeout(120_000)
        self.page = await context.new_page()
        await self.page.goto(f"{self.url}/building/{self.building}")
        await self.page.get_by_label("Name").fill(self.name)
        await self.page.get_by_label("Password").fill(PASSWORD)
        await self.page.keyboard.press("Enter")
        await self.page.locator(".ranked th[scope=row] a").first.wait_for()
        self.page.on("pageerror", lambda e: self.told.errors.append(f"{self.name}: {e}"))
        self.page.on("console", self.console)
        self.page.on("requestfinished", self.finished)
        self.page.on("requestfailed", self.failed)
        self.page.on(
            "response", lambda r: r.status >= 400 and self.told.errors.append(f"{self.name}: {r.status} {r.url}")
        )

    def console(self, message):
        if message.type == "error":
            self.told.errors.append(f"{self.name}: {message.text}")

    def failed(self, request):
        # A page that is left asks no more for what it had asked for.
        if self.told.measuring and "ERR_ABORTED" not in (request.failure or ""):
            self.told.errors.append(f"{self.name}: {request.failure} {request.url}")

    def finished(self, request):
        if not self.told.measuring or not (CALLBACK in request.url or NEWS in request.url):
            return
        name, timing = name_of(request) if CALLBACK in request.url else NEWS, request.timing
        self.told.times[name, self.observed].append(timing["responseEnd"] / 1000)
        self.told.on_the_way[name, self.observed].append((timing["responseStart"] - timing["requestStart"]) / 1000)

    async def works(self, until):
        while time.monotonic() < until:
            try:
                await self.one_room()
            except TimeoutError as error:
                why = " ".join(str(error).split())
                self.told.errors.append(f"{self.name}: {why}")
                await self.page.goto(f"{self.url}/building/{self.building}")

    async def one_room(self):
        links = self.page.locator(".ranked th[scope=row] a")
        await links.first.wait_for()
        await self.reads()
        await links.nth(self.rng.randrange(await links.count())).click()
        await self.page.locator("#room-accept").wait_for()
        await self.page.locator("#room-decide-stands p").first.wait_for()
        self.told.clicks += 1
        await self.reads()
        offs = self.page.locator(".offs button")
        if self.rng.random() < 0.6 and await self.goes_to_the_switch_offs() and await offs.count():
            await offs.nth(self.rng.randrange(await offs.count())).click()
            self.told.clicks += 1
            await self.reads()
            if self.rng.random() < 0.5:
                present = self.rng.random() < 0.5
                await self.told_after("Somebody was there" if present else "Nobody was there", "room-say-told")
                await self.reads()
        if self.rng.random() < 0.8:
            await self.decides()
            await self.reads()
        await self.page.get_by_role("link", name="Rooms", exact=True).click()
        self.told.clicks += 1

    async def goes_to_the_switch_offs(self):
        """They lie below the days, which come when somebody goes there."""
        await self.page.get_by_role("navigation", name="On this page").get_by_role("link", name="Along time").click()
        self.told.clicks += 1
        there = self.page.locator(f"#{ids.later('days')}")
        await there.locator("[data-outline]").wait_for(state="detached")
        # Where nothing ever switched off they stay hidden.
        await there.locator(f"#{ids.DAY}[style*='--drawn']").wait_for(state="attached")
        await self.page.locator(".later [data-dash-is-loading=true]").first.wait_for(state="detached")
        return True

    async def decides(self):
        undo = self.page.get_by_role("button", name="Undo", exact=True)
        what = self.rng.choice(["Accept", "Accept", "Reject", "Undo"])
        if what == "Undo" and not await undo.is_visible():
            what = "Accept"
        # Every decision has words of its own, by which it is found again.
        reason = f"{self.name}, {len(self.told.decided[self.name])}, {self.rng.random():.12f}"
        await self.page.get_by_label("Reason").fill("" if what == "Undo" else reason)
        await self.told_after(what, "room-told", reason=reason)

    async def told_after(self, button, output, *, reason=""):
        """Press a button; what the server answers to that very click is what the person is told."""

        def ours(response):
            return CALLBACK in response.url and name_of(response.request) == output

        async with self.page.expect_response(ours) as answer:
            await self.page.get_by_role("button", name=button, exact=True).click()
        self.told.clicks += 1
        shown = (await (await answer.value).json())["response"][output]["children"]
        text = " ".join(texts(shown))
        if "refused" in shown["props"]["className"]:
            self.told.refused[text.split(".")[0]] += 1
        elif output == "room-told":
            self.told.decided[self.name].append((button, reason))
        else:
            self.told.said[self.name] += 1


def made(folder, people, database):
    """A workspace with accounts and analysed copies of the demo building."""
    with closing(Workspace(folder, database=database)) as ws:
        there = [import_folder(ws, demo_folder(), by="A") for _ in range(-(-people // SHARED_BY))]
        accounts.add(ws, "Root", PASSWORD, role="administer")
        for n in range(people):
            accounts.add(ws, f"Person {n}", PASSWORD, role="decide")
        for building in there:
            jobs.ask(ws, building, "analyse", by="A")
    return there


async def load(url, there, asked, told, scratch):
    behind = scratch / "behind"
    behind.write_text(f'#!/bin/sh\nexec {BEHIND} "{CHROMIUM}" "$@"\n')
    behind.chmod(0o755)
    async with async_playwright() as driver:
        browsers = {
            observed: await driver.chromium.launch(executable_path=str(CHROMIUM if observed else behind), args=FLAGS)
            for observed in (True, False)
        }
        # One of a building each, as far as that goes.
        looked_at = {n * SHARED_BY % asked.people + n * SHARED_BY // asked.people for n in range(asked.observed)}
        crowd = [
            Person(n, url, there[n // SHARED_BY], told, asked.reads, observed=n in looked_at)
            for n in range(asked.people)
        ]
        for person in crowd:
            await person.comes(browsers[person.observed])
        print(f"{asked.people} people have logged in", flush=True)
        begin, told.measuring = time.monotonic(), True
        await asyncio.gather(*(p.works(begin + 60 * asked.minutes) for p in crowd))
        told.measuring, took = False, time.monotonic() - begin
        for browser in browsers.values():
            try:
                await browser.close()
            except Error as error:
                print(error)
    return took


def processor_s(pid):
    """Processor time of a process so far [s]."""
    parts = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(parts[11]) + int(parts[12])) / os.sysconf("SC_CLK_TCK")


def shown(what, times):
    if len(times):
        half, most, worst = np.percentile(times, [50, 95, 100])
        print(
            f"  {what}: {len(times)}, median {half * 1000:.0f} ms, 95th percentile {most * 1000:.0f} ms, worst {worst * 1000:.0f} ms"
        )


def held_against(ws, there, told):
    """What is in the database and was not told, or the other way round."""
    wrong = []
    history = [(b, d) for b in there for d in decisions.history(ws, b)]
    kinds = {"Accept": "accept", "Reject": "reject"}
    kept = Counter((d.by, d.kind, d.reason) for _, d in history)
    heard = Counter((who, kinds[k], why) for who, made in told.decided.items() for k, why in made if k != "Undo")
    wrong += [f"lost: {x}" for x in heard - kept] + [f"doubled, or never told: {x}" for x in kept - heard]
    undone = Counter(d.undone_by for _, d in history if d.undone_at)
    taken_back = Counter({who: sum(k == "Undo" for k, _ in made) for who, made in told.decided.items()})
    wrong += [f"taken back: {who}" for who in undone | taken_back if undone[who] != taken_back[who]]
    standing = Counter((b, d.room, d.channel) for b, d in history if not d.undone_at and not d.superseded_at)
    wrong += [f"{many} decisions stand in {place}" for place, many in standing.items() if many > 1]
    with ws.reading() as session:
        words = Counter(session.scalars(select(VerdictRow.by)))
    wrong += [
        f"words of {who}: {words[who]} in the database, {told.said[who]} told"
        for who in words | told.said
        if words[who] != told.said[who]
    ]
    broken = audit.verify(ws).broken
    return wrong + ([f"audit log: {broken}"] if broken else [])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument(
        "--reads", type=float, nargs=2, default=READS_S, help="pause between two clicks, least and most [s]"
    )
    parser.add_argument(
        "--observed", type=int, default=4, help="people whose browser has the processor before the others'"
    )
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--postgres", action="store_true", help="on a server of PostgreSQL that is started for it")
    which.add_argument("--database", help="URL of an empty database")
    asked = parser.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="holdoff-load-"))) / "w"
        database = stack.enter_context(running(safe=True)).url if asked.postgres else asked.database
        there = made(folder, asked.people, database)
        with socket.create_server(("127.0.0.1", 0)) as free:
            port = free.getsockname()[1]
        lines = stack.enter_context((folder / ".." / "lines").open("w+"))
        server = subprocess.Popen(
            [sys.executable, "-m", "tuning.cli", "serve", str(folder), "--port", str(port), "--log-lines"],
            stdout=subprocess.DEVNULL,
            stderr=lines,
        )
        try:
            with closing(Workspace(folder)) as ws:
                while any(jobs.last(ws, b).open for b in there):
                    time.sleep(0.5)
                assert all(jobs.last(ws, b).state == "done" for b in there)
            print(f"{len(there)} buildings are analysed", flush=True)
            told, before, at = Told(), processor_s(server.pid), lines.seek(0, os.SEEK_END)
            took = asyncio.run(load(f"http://127.0.0.1:{port}", there, asked, told, folder.parent))
            worked = processor_s(server.pid) - before
        finally:
            server.send_signal(signal.SIGTERM)
            assert server.wait(timeout=60) == 0
        lines.seek(at)
        events = [json.loads(line) for line in lines]
        with closing(Workspace(folder)) as ws:
            wrong = held_against(ws, there, told)
    report(told, events, took, worked, wrong, asked)
    sys.exit(bool(wrong or told.errors))


def of_pages(times, *, observed):
    """All but those of the frame around every page, which nobody waits for."""
    return [t for (name, who), found in times.items() if name not in (POLL, NEWS) and who == observed for t in found]


def report(told, events, took, worked, wrong, asked):
    answered = [e for e in events if e["event"] == "request" and e["route"] == CALLBACK]
    counted = Counter(e["event"] for e in events)
    print(
        f"{asked.people} people, {took:.0f} s, {told.clicks} clicks, one every {took * asked.people / told.clicks:.1f} s and person"
    )
    print(
        f"{'PostgreSQL' if asked.postgres or asked.database else 'SQLite'}; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; "
        f"processor time of the server {worked:.0f} s"
    )
    print(
        f"decisions told: {sum(map(len, told.decided.values()))}; words: {sum(told.said.values())}; refused: {dict(told.refused)}"
    )
    print(f"analyses meanwhile: {counted['job.done']} done, {counted['job.failed']} failed")
    for observed, who in ((True, "of those looked at"), (False, "of all others, beside each other on the same cores")):
        print(f"callbacks as the browser sees them, {who}:")
        shown("of pages", of_pages(told.times, observed=observed))
        shown("asking whether there is news", told.times[NEWS, observed])
        print("  the same, from the request's first byte to the answer's, as the browser's network stack has it:")
        shown("of pages", of_pages(told.on_the_way, observed=observed))
    print("callbacks as the server counts them:")
    shown("of pages", [e["ms"] / 1000 for e in answered if e.get("callback") != POLL])
    shown("telling the news", [e["ms"] / 1000 for e in answered if e.get("callback") == POLL])
    asking = [e for e in events if e["event"] == "request" and e["route"].startswith(NEWS)]
    shown("asking whether there is news", [e["ms"] / 1000 for e in asking])
    print("processor time of the thread that answers:")
    shown("of pages", [e["cpu_ms"] / 1000 for e in answered if e.get("callback") != POLL])
    shown("asking whether there is news", [e["cpu_ms"] / 1000 for e in asking])
    by_name = defaultdict(list)
    for e in answered:
        by_name[e.get("callback")].append(e["cpu_ms"] / 1000)
    print("where it went:")
    for name, times in sorted(by_name.items(), key=lambda n: -sum(n[1]))[:12]:
        shown(f"{name} ({sum(times):.1f} s)", times)
    failed = [e for e in events if e["event"] == "log" or e.get("status", 0) >= 500]
    print(
        f"errors: {len(told.errors)} in browsers, {len(failed)} on the server; lost, doubled or contradicted: {len(wrong)}"
    )
    for line in [*told.errors[:8], *map(str, failed[:8]), *wrong[:8]]:
        print(f"  {line[:700]}")
    print(
        f"wanted: {WANTED_S * 1000:.0f} ms at the 95th percentile of page callbacks, no error, none lost, none doubled"
    )


if __name__ == "__main__":
    main()
