"""README's pictures: page one of a report and one page of its supplement, made from the PDFs of a finished run.

    .venv/bin/python reports/preview.py synthetic_data/output [page of the supplement]

Needs poppler's `pdftoppm`.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

DPI, COLOURS, MOST_BYTES = 110, 24, 150_000
HERE = Path(__file__).parent


def preview(pdf: Path, page: int, picture: Path) -> None:
    """One page as a small PNG."""
    with tempfile.TemporaryDirectory() as name:
        drawn = Path(name, "page")
        one_page = ["-f", str(page), "-l", str(page), "-singlefile"]
        subprocess.run(["pdftoppm", "-r", str(DPI), *one_page, "-png", pdf, drawn], check=True)
        with Image.open(drawn.with_suffix(".png")) as whole:
            whole.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(picture, optimize=True)
    size = picture.stat().st_size
    print(f"{picture}: page {page} of {pdf.name}, {size // 1000} kB")
    if size > MOST_BYTES:
        sys.exit(f"{picture} is larger than {MOST_BYTES // 1000} kB.")


if __name__ == "__main__":
    output, *page = sys.argv[1:]
    preview(Path(output, "report.pdf"), 1, HERE / "preview.png")
    preview(Path(output, "supplement.pdf"), int(*page or [1]), HERE / "preview_supplement.png")
