"""The fonts of the pages under test: those of two npm packages and no others, so that every machine lays a page out alike.

Both browsers ask fontconfig, which reads the one file that FONTCONFIG_FILE names. `wide` is what a Debian without further fonts
shows, `narrow` what many phones show. The narrow one has neither Arabic nor signs such as ⌫ and borrows them from the other.
"""

from pathlib import Path

from tests.structure.tree import ROOT

PACKAGES = ROOT / "pwa" / "node_modules"
DEJAVU = PACKAGES / "dejavu-fonts-ttf" / "ttf"
ROBOTO = PACKAGES / "@expo-google-fonts" / "roboto"
FOLDERS = {"wide": (DEJAVU,), "narrow": (ROBOTO, DEJAVU)}
SANS = {"wide": "DejaVu Sans", "narrow": "Roboto"}
SERIF = {"wide": "DejaVu Serif", "narrow": "Roboto"}
MONOSPACE = "DejaVu Sans Mono"


def font_environment(width: str, folder: Path) -> dict[str, str]:
    """Writes fontconfig's file for the `wide` or the `narrow` fonts into `folder`; gives the variable by which a browser finds it."""
    missing = [str(place.relative_to(ROOT)) for place in FOLDERS[width] if not place.is_dir()]
    assert not missing, f"{missing} are not there; ./run test installs them"
    sans, serif = SANS[width], SERIF[width]
    given = {"sans": sans, "sans-serif": sans, "system-ui": sans, "serif": serif, "monospace": MONOSPACE}
    lines = [
        *(f"<dir>{place}</dir>" for place in FOLDERS[width]),
        f"<cachedir>{folder / 'cache'}</cachedir>",
        *(alias(asked, family) for asked, family in given.items()),
        f'<match><edit name="family" mode="append_last"><string>{sans}</string></edit></match>',
    ]
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "fonts.conf"
    file.write_text("\n".join(["<fontconfig>", *lines, "</fontconfig>", ""]), encoding="utf-8")
    return {"FONTCONFIG_FILE": str(file)}


def alias(asked: str, family: str) -> str:
    # Strong, or else WebKit takes any font that has the page's language before the one preferred.
    return f'<alias binding="strong"><family>{asked}</family><prefer><family>{family}</family></prefer></alias>'
