"""Many modules in one script: in the order in which they are needed, each with its own names, or refused by name."""

from __future__ import annotations

import pytest
from rjsmin import jsmin

from homedialysis.web.one_script import in_order, in_two, joined
from homedialysis.web.static_storage import without_layout

MODULES = {
    "js/main.js": (
        'import { twice as two } from "./sums.js";\nimport * as words from "./words.js";\nimport "./side.js";\ntwo();\n'
    ),
    "js/sums.js": 'import { one } from "./deep/one.js";\nexport const twice = () => 2 * one();\n',
    "js/words.js": "const inner = 1;\nexport { inner as outer };\n",
    "js/side.js": "const inner = 2;\n",
    "js/deep/one.js": "/* Why. */\nexport function one() {\n  return 1;\n}\n",
    "js/unused.js": "export default 3;\n",
}


def test_what_a_module_needs_comes_before_it() -> None:
    assert in_order(MODULES, "js/main.js") == [
        "js/deep/one.js",
        "js/sums.js",
        "js/words.js",
        "js/side.js",
        "js/main.js",
    ]


def test_imports_and_exports_become_names_of_blocks() -> None:
    text = joined(MODULES, "js/main.js")
    for part in (
        "\none = function() {",
        "let one, twice;",
        "$[2] = { outer: inner };",
        "\ntwice = () => 2 * one();",
        "const two = twice;",
        "const words = $[2];",
    ):
        assert part in text
    assert not [line for line in text.splitlines() if line.startswith(("import", "export"))]
    assert "Why." not in jsmin(text), "what goes out has no comments"


def test_a_second_piece_takes_from_the_first_what_both_need() -> None:
    modules = MODULES | {
        "js/later.js": 'import { twice } from "./sums.js";\nimport { outer } from "./words.js";\nimport "./more.js";\n',
        "js/more.js": "export const more = 4;\n",
    }
    first, second = in_two(modules, "js/main.js", "js/later.js", "./all.js")
    assert first.endswith("export { $, twice };\n")
    assert "more = 4" not in first
    assert second.startswith('import { $, twice } from "./all.js";\nlet more;\n')
    assert "const { outer } = $[2];" in second
    assert "2 * one()" not in second, "nothing goes out twice"


@pytest.mark.parametrize(
    ("modules", "said"),
    [
        ({"a.js": 'import "./b.js";\n', "b.js": 'import "./a.js";\n'}, "a.js is needed in a ring"),
        ({"a.js": 'import "./b.js";\n'}, "b.js is not there"),
        ({"a.js": "export default 3;\n"}, "a.js: “export default 3;” cannot be joined"),
        ({"a.js": "export let changes = 1;\n"}, "a.js: “export let changes = 1;” cannot be joined"),
        ({"a.js": "import b from './b.js';\n"}, "a.js: “import b from './b.js';” cannot be joined"),
        (
            {"a.js": 'import { f as g } from "./b.js";\nfunction f() { g(); }\n', "b.js": "export const f = 1;\n"},
            "a.js: f as g would be its own f",
        ),
    ],
)
def test_what_it_does_not_understand_is_refused(modules: dict[str, str], said: str) -> None:
    with pytest.raises(ValueError, match="^" + said.replace("(", r"\(").replace(".", r"\.")):
        joined(modules, "a.js")


def test_a_text_that_runs_over_lines_keeps_its_spaces() -> None:
    text = "const a = `one\n  two`;\n"
    assert "`one\n  two`" in jsmin(text)
    assert jsmin("  // gone\n  const b = 1; // gone too\n").strip() == "const b=1;"


def test_what_stands_for_readers_alone_does_not_go_out() -> None:
    text = (
        'say(\n  "One, " +\n    "two.",\n  [a + "+", (b) => f(b), async (c, d) => c],\n  () => {\n    go();\n  },\n);\n'
    )
    short = 'say(\n  "One, two.",\n  [a + "+", b => f(b), async (c, d) => c],\n  () => {\n    go()\n  }\n);\n'
    assert without_layout(text) == short


def test_functions_of_one_name_in_two_modules_stay_apart() -> None:
    modules = {
        "main.js": 'import { put } from "./a.js";\nimport { put as lay } from "./b.js";\nput(lay());\n',
        "a.js": "export function put() {}\n",
        "b.js": "export async function put() {}\n",
    }
    text = joined(modules, "main.js")
    for part in ("function put() {}", "async function put() {}", "const { put } = $[0];", "const { put: lay } = $[1];"):
        assert part in text
