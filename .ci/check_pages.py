"""Opens every page of a report in headless Chromium and fails on what a reader must not meet.

For each page: no console message of level warning or error, no request to anything but the
report's own files, every figure with alternative text, every image found. Only the standard library.
"""

import html.parser
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import urllib.parse

FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-extensions", "--host-resolver-rules=MAP * ~NOTFOUND",
    "--enable-logging=stderr", "--v=0", "--virtual-time-budget=3000", "--dump-dom",
]


class Page(html.parser.HTMLParser):
    """Collects what a reader who cannot see the figures depends on, and every link."""

    def __init__(self):
        super().__init__()
        self.problems, self.links, self.figures, self.headings = [], [], 0, 0
        self.svg_depth, self.named, self.language = 0, False, None
        self.in_title, self.svg_title = False, ""

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag == "html":
            self.language = attributes.get("lang")
        if tag in ("h1", "h2", "h3"):
            self.headings += 1
        if tag == "svg":
            self.svg_depth += 1
            if self.svg_depth == 1:
                self.figures += 1
                self.svg_title = ""
                self.named = attributes.get("role") == "img"
        if tag == "title" and self.svg_depth:
            self.in_title = True
        if tag == "img" and not attributes.get("alt"):
            self.problems.append("an image without alternative text")
        for name in ("href", "src"):
            if name in attributes and tag in ("a", "img", "link", "script"):
                self.links.append(attributes[name])

    def handle_data(self, data):
        if self.in_title:
            self.svg_title += data

    def handle_endtag(self, tag):
        if tag == "title":
            self.in_title = False
        if tag == "svg":
            self.svg_depth -= 1
            if self.svg_depth == 0 and not (self.named and self.svg_title.strip()):
                self.problems.append(f"figure {self.figures} has no alternative text")


def requests_off_the_page(net_log):
    """The addresses of every request that the page itself made to anything but a local file.

    The browser asks its maker's hosts for things of its own; those requests have no page as initiator.
    """
    with open(net_log, encoding="utf-8") as file:
        text = file.read()
    try:
        log = json.loads(text)
    except json.JSONDecodeError:  # Chromium may stop before it closes the list
        log = json.loads(text.rstrip().rstrip(",") + "]}")
    requests = [event.get("params", {}) for event in log["events"]]
    of_the_page = (r["url"] for r in requests if "url" in r and r.get("initiator", "not an origin") != "not an origin")
    return sorted({a for a in of_the_page if re.match(r"(https?|wss?|ftp):", a)})


def check(page, root, chromium):
    with tempfile.TemporaryDirectory() as scratch:
        net_log = pathlib.Path(scratch, "net.json")
        command = [chromium, *FLAGS, f"--user-data-dir={scratch}/profile", f"--log-net-log={net_log}", page.as_uri()]
        for _ in range(3):  # a browser that did not start, as beside another one, has written no log
            run = subprocess.run(command, capture_output=True, text=True, timeout=120)
            if net_log.exists():
                break
        else:
            return 0, [f"the browser did not start: {run.stderr[-200:]}"]
        problems = [f"a request to {address}" for address in requests_off_the_page(net_log)]
        problems += [line for line in run.stderr.splitlines() if "CONSOLE" in line]
    parsed = Page()
    parsed.feed(run.stdout)
    problems += parsed.problems
    if not parsed.language:
        problems.append("the page does not say its language")
    if not parsed.headings:
        problems.append("the page is empty")
    for link in parsed.links:
        address = urllib.parse.urlparse(link)
        if address.scheme == "data" or (not address.path and address.fragment):
            continue
        target = (page.parent / urllib.parse.unquote(address.path)).resolve()
        if address.scheme or not target.exists() or root not in target.parents:
            problems.append(f"a link that leads nowhere or out of the report: {link[:80]}")
    return parsed.figures, problems


def can_see_a_request(chromium):
    """A check that cannot fail is no check: a page that asks for something must be caught."""
    with tempfile.TemporaryDirectory() as scratch:
        page = pathlib.Path(scratch, "asks.html")
        page.write_text('<html lang="en"><h1>x</h1><img alt="x" src="http://asked.invalid/x.png"></html>')
        return any("asked.invalid" in problem for problem in check(page, page.parent.resolve(), chromium)[1][:1])


def main():
    root = pathlib.Path(sys.argv[1]).resolve()
    chromium = shutil.which("chromium")
    pages = sorted(p for p in root.rglob("*.html"))
    if not pages or not chromium:
        sys.exit("no page, or no chromium, to check with")
    if not can_see_a_request(chromium):
        sys.exit("a request off the page would not be noticed")
    figures = failed = 0
    for page in pages:
        count, problems = check(page, root, chromium)
        figures += count
        failed += bool(problems)
        for problem in problems:
            print(f"{page.relative_to(root)}: {problem}")
    print(f"{len(pages)} pages opened, {figures} figures, {failed} pages with problems")
    if failed or figures == 0:
        sys.exit(1)


if __name__ == "__main__":
    main()
