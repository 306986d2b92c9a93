"""Build the site of docs/ with every example run, and look at it.

python docs/build.py            run the examples, build the site in docs/_build/site, check its links, open it
python docs/build.py --write    also write what the examples print into the pages of docs/
"""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote

from examples import filled

DOCS = Path(__file__).resolve().parent
BUILD = DOCS / "_build"
PAGES, SITE = BUILD / "pages", BUILD / "site"
LIVE = ("manual", "tutorials")  # folders whose examples are run; the other pages are those of generate.py
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
_PATIENT = "--virtual-time-budget=10000"  # ms, for the script of the search


def main() -> int:
    """Each step in turn; the first that finds something wrong ends it."""
    shutil.rmtree(BUILD, ignore_errors=True)
    PAGES.mkdir(parents=True)
    _stage()
    for step in (_sphinx, _links, _opened):
        if wrong := step():
            print(f"{step.__name__.lstrip('_')}: {wrong}")
            return 1
    print(f"{len(list(SITE.rglob('*.html')))} pages in {SITE}")
    return 0


def _stage() -> None:
    """Copy the pages, those of the manual and the tutorials with what their examples print today."""
    for path in sorted(DOCS.rglob("*")):
        place = path.relative_to(DOCS)
        if path.suffix not in (".md", ".svg", ".json", ".png") or place.parts[0] in ("_build", "site"):
            continue
        (PAGES / place).parent.mkdir(parents=True, exist_ok=True)
        if path.suffix == ".md":
            text = path.read_text(encoding="utf-8")
            if place.parts[0] in LIVE:
                text = _with_examples(place, text)
                if "--write" in sys.argv:
                    path.write_text(text, encoding="utf-8")
            text = _for_the_site(text, place) + (_contents(text) if place.name == "index.md" else "")
            (PAGES / place).write_text(text, encoding="utf-8")
        else:
            shutil.copy(path, PAGES / place)


def _with_examples(place: Path, text: str) -> str:
    try:
        return filled(text)
    except Exception as error:
        error.add_note(f"in docs/{place}")
        raise


def _for_the_site(text: str, place: Path) -> str:
    """Links out of docs/ lead nowhere on the site: their words stay."""
    up = "../" * len(place.parts)
    return re.sub(rf"\[([^\]]+)\]\((?:{re.escape(up)})(?!\.\.)[^)]*\)", r"`\1`", text)


def _contents(text: str) -> str:
    """The pages that an index leads to, for the site's own contents."""
    pages = dict.fromkeys(re.findall(r"\]\(([\w/]+\.md)\)", text))
    found = "\n".join(page for page in pages if page.count("/") == 0 or page.endswith("/index.md"))
    return f"\n```{{toctree}}\n:hidden:\n\n{found}\n```\n"


def _sphinx() -> str:
    line = [
        sys.executable,
        "-m",
        "sphinx",
        "-W",
        "--keep-going",
        "-q",
        "-b",
        "html",
        "-c",
        str(DOCS / "site"),
    ]
    done = subprocess.run([*line, str(PAGES), str(SITE)], capture_output=True, text=True, check=False)
    return done.stderr if done.returncode else ""


def _links() -> str:
    """Links within the site that lead nowhere."""
    anchors = {
        page: set(re.findall(r'\bid="([^"]+)"', page.read_text(encoding="utf-8")))
        for page in SITE.rglob("*.html")
    }
    dead = []
    for page in anchors:
        for link in re.findall(r'href="([^"]+)"', page.read_text(encoding="utf-8")):
            target, _, anchor = html.unescape(link).partition("#")
            if ":" in target or target.startswith("data"):
                continue
            there = (page.parent / unquote(target.partition("?")[0])).resolve() if target else page
            if not there.exists() or (anchor and there in anchors and unquote(anchor) not in anchors[there]):
                dead.append(f"{page.relative_to(SITE)} -> {link}")
    return "\n".join(sorted(set(dead)))


def _opened() -> str:
    """Pages as a browser shows them: with their heading, their formulas, and what a search finds."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("no browser here: the site was not opened")
        return ""
    wants = {
        "index.html": "<h1",
        "manual/smelting.html": "<math",
        "search.html?q=autogenous": "Search finished",
    }
    for name, wanted in wants.items():
        line = [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            _PATIENT,
            "--dump-dom",
            f"{SITE.as_uri()}/{name}",
        ]
        shown = subprocess.run(line, capture_output=True, text=True, check=False, timeout=120).stdout
        if wanted not in shown:
            return f"{name} shows no {wanted}"
    return ""


if __name__ == "__main__":
    sys.exit(main())
