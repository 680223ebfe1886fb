"""Names with a hash reach into the imports of our own scripts, and leave those of packages alone."""

from __future__ import annotations

import re
from pathlib import Path

from homedialysis.web.static_storage import HashedStatic
from sessions.pages.bedside import FOLDER, files


def processed(folder: Path, files: dict[str, str]) -> tuple[HashedStatic, dict[str, str]]:
    """The storage after collecting these files, and the content of each under its hashed name."""
    storage = HashedStatic(location=str(folder), base_url="/static/")
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(content)
    for _, _, outcome in storage.post_process({name: (storage, name) for name in files}):
        assert not isinstance(outcome, Exception), outcome
    return storage, {name: (folder / storage.stored_name(name)).read_text() for name in files}


def test_our_scripts_import_each_other_by_hashed_names(tmp_path: Path) -> None:
    files = {
        "bedside/js/a.js": 'import { b } from "./b.js";\nb();\n',
        "bedside/js/b.js": "export const b = () => 1;\n",
    }
    storage, content = processed(tmp_path, files)
    hashed = Path(storage.stored_name("bedside/js/b.js")).name
    assert hashed != "b.js"
    assert f'"./{hashed}"' in content["bedside/js/a.js"]


def test_every_script_of_the_bedside_finds_the_others_by_hashed_names(tmp_path: Path) -> None:
    """Twice the same content gives the same names: no phone loads a script of another release."""
    names = [name for name in files() if name.endswith((".js", ".css"))]
    scripts = {name: (FOLDER.parent / name).read_text(encoding="utf-8") for name in names}
    storage, content = processed(tmp_path, scripts)
    named = re.findall(r"""(?:from|import)\s*["'](\.[^"']+)["']""", "\n".join(content.values()))
    stored = {Path(storage.stored_name(name)).name for name in scripts}
    assert len(named) > len(scripts)
    assert {Path(each).name for each in named} <= stored
    first, second = storage.stored_name("bedside/js/all.js"), storage.stored_name("bedside/js/rest.js")
    assert first != "bedside/js/all.js"
    assert f'"./{Path(first).name}"' in (tmp_path / second).read_text(), "the second piece belongs to this first one"


def test_no_script_has_a_template_inside_a_template() -> None:
    """What makes scripts small takes the inner one for code and its blanks away: a phone showed "Weight(kg)"."""
    inner = re.compile(r"\$\{[^`}]*`")
    found = {path.name: inner.findall(path.read_text(encoding="utf-8")) for path in FOLDER.rglob("*.js")}
    assert len(found) > 50
    assert {name: nested for name, nested in found.items() if nested} == {}


def test_a_script_of_a_package_that_imports_what_only_a_build_finds_does_no_harm(tmp_path: Path) -> None:
    script = 'import htmx from "./not-here";\n//# sourceMappingURL=not-here.map\n'
    _, content = processed(tmp_path, {"some_package/a.js": script})
    assert content["some_package/a.js"] == script
