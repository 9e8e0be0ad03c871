"""``python -m tests.docs``: write the generated pages of the documentation."""

from tests.docs.making import FOLDER, PAGES, ROOT, readme

for name, made in PAGES.items():
    (FOLDER / name).write_text(made(), encoding="utf-8")
(ROOT / "README.md").write_text(readme(), encoding="utf-8")
