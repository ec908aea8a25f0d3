"""The page's modules and styles as one file each: over a slow line a request costs more than its bytes.

Modules stay plain ES modules that a browser can load one by one; here each becomes a function scope in one script, in
the order in which they need each other. Only the forms of import and export that the page uses are understood; any
other is refused, and a test packs them all.
"""

from __future__ import annotations

import re
from pathlib import Path

_IMPORT = re.compile(r'^import \{([^}]*)\} from "\./(\w+)\.js";$', re.MULTILINE)
_EXPORT = re.compile(r"^export (async function|function|const) (\w+)", re.MULTILINE)
_LEFT = re.compile(r"^\s*(import|export)\b", re.MULTILINE)


def script(folder: Path, first: str) -> str:
    """``first`` and every module of ``folder`` that it needs, as one script. Raises ``ValueError`` on other forms."""
    packed: dict[str, str] = {}
    _pack(folder, first, packed, ())
    return "const packed = {};\n" + "\n".join(packed.values())


def style(files: list[Path]) -> str:
    return "\n".join(file.read_text() for file in files)


def _pack(folder: Path, name: str, packed: dict[str, str], above: tuple[str, ...]) -> None:
    if name in above:
        raise ValueError(f"modules need each other in a ring: {' -> '.join((*above, name))}")
    if name in packed:
        return
    text = (folder / f"{name}.js").read_text()
    for _, needed in _IMPORT.findall(text):
        _pack(folder, needed, packed, (*above, name))
    given = [word for _, word in _EXPORT.findall(text)]
    text = _IMPORT.sub(lambda found: f"const {{{found[1]}}} = packed.{found[2]};", text)
    text = _EXPORT.sub(r"\1 \2", text)
    if left := _LEFT.search(text):
        raise ValueError(f"{name}.js: this form of {left[1]} is not understood")
    packed[name] = f"packed.{name} = (() => {{\n{text}\nreturn {{ {', '.join(given)} }};\n}})();"
