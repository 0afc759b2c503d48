"""Reads the stamps of `heldout.py` with Tesseract, for comparison.

python tesseract.py FOLDER [COUNT]

It is helped: it gets the picture upright and only the outer quarter along the top and the bottom, enlarged to
2048 columns. Counted as read if the shown text, without spaces and in upper case, is in its output.
"""

import json
import os
import subprocess
import sys
import tempfile

from PIL import Image

from heldout import EXIF_TURN

BACK = {1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 8, 7: 7, 8: 6}


def bare(text):
    return "".join(text.upper().split())


def main():
    folder = sys.argv[1]
    rows = [json.loads(line) for line in open(os.path.join(folder, "list.jsonl"))]
    rows = rows[:int(sys.argv[2]) if len(sys.argv) > 2 else None]
    read = 0
    for row in rows:
        photo = Image.open(os.path.join(folder, row["file"])).convert("L")
        if row["turn"] != 1:
            photo = photo.transpose(EXIF_TURN[BACK[row["turn"]]])
        photo = photo.resize((2048, round(2048 * photo.height / photo.width)))
        band = photo.height // 4
        seen = ""
        for top in (0, photo.height - band):
            with tempfile.NamedTemporaryFile(suffix=".png") as file:
                photo.crop((0, top, photo.width, top + band)).save(file.name)
                seen += subprocess.run(["tesseract", file.name, "-", "--psm", "11"], capture_output=True, text=True,
                                       env={**os.environ, "OMP_THREAD_LIMIT": "1"}).stdout
        read += all(bare(line) in bare(seen) for line in row["visible_text"].split("\n"))
    print(f"Tesseract: {read} of {len(rows)} read exactly")


if __name__ == "__main__":
    main()
