"""Draws whole stamped photos for the test: held-out typefaces on held-out photos.

python heldout.py --data FOLDER --photos FOLDER --out FOLDER --count N [--seed S]
Writes photos and list.jsonl with file, visible_text, visible_time.
"""

import argparse
import datetime
import io
import json
import os
import random

import numpy as np
from PIL import Image

import draw

EXIF_TURN = {1: None, 2: Image.FLIP_LEFT_RIGHT, 3: Image.ROTATE_180, 4: Image.FLIP_TOP_BOTTOM,
             5: Image.TRANSPOSE, 6: Image.ROTATE_90, 7: Image.TRANSVERSE, 8: Image.ROTATE_270}


def as_image(picture):
    return Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))


def stamp_of(rng):
    """Lines and truth of one stamp in a common layout."""
    at = datetime.datetime(2015, 1, 1) + datetime.timedelta(seconds=rng.randrange(13 * 365 * 86400))
    word = at.strftime("%b")
    word = word.upper() if rng.random() < 0.5 else word
    date = rng.choice([
        at.strftime("%Y-%m-%d"), at.strftime("%Y/%m/%d"), at.strftime("%Y.%m.%d"), at.strftime("%m/%d/%Y"),
        at.strftime("%d/%m/%Y"), at.strftime("%d.%m.%Y"), at.strftime("%m-%d-%Y"), at.strftime("%m/%d/%y"),
        at.strftime("'%y %m %d"), at.strftime("%Y:%m:%d"), f"{word} {at.day}, {at.year}", f"{at.day:02d} {word} {at.year}",
        f"{at.day:02d}-{word}-{at.year}", f"{at.month}/{at.day}/{at.year}", at.strftime("'%y") + f" {at.month:2d} {at.day:2d}"])
    kind = rng.random()
    half = "AM" if at.hour < 12 else "PM"
    if kind < 0.15:
        return [date], at.strftime("%Y-%m-%d")
    if kind < 0.4:
        time, truth = at.strftime("%H:%M:%S"), at.strftime("%Y-%m-%dT%H:%M:%S")
    elif kind < 0.7:
        time, truth = at.strftime("%H:%M"), at.strftime("%Y-%m-%dT%H:%M:00")
    elif kind < 0.88:
        time, truth = f"{at.hour % 12 or 12}:{at.minute:02d} {half}", at.strftime("%Y-%m-%dT%H:%M:00")
    else:
        time, truth = f"{at.hour % 12 or 12:02d}:{at.minute:02d}:{at.second:02d} {half}", at.strftime("%Y-%m-%dT%H:%M:%S")
    lines = [date, time] if rng.random() < 0.2 else [date + rng.choice([" ", "  "]) + time]
    return lines, truth


def stamped(rng, photo, fonts, strips):
    """The stamped picture (upright text), its lines and truth."""
    width = rng.choice([1024, 1280, 1600, 2048, 3000, 4000])
    size = (width, round(width * photo.height / photo.width))
    picture = np.asarray(photo.resize(size, Image.BICUBIC), np.float32)
    lines, truth = stamp_of(rng)
    face = rng.choice(fonts)
    if face.segments:
        while any(c not in draw.SEGMENT_ONLY for line in lines for c in line):
            lines, truth = stamp_of(rng)
    height = int(min(size) * rng.uniform(0.016, 0.045))
    look = draw.Look(rng, face, height)
    look.soft = min(look.soft, 0.03 * height)
    look.spacing = min(look.spacing, 0.1 * height)
    if strips:
        edge = int(height * rng.uniform(0.3, 0.9))
        row = rng.choice([edge, size[1] - edge - height])
        texts = lines if len(lines) > 1 else rng.choice([lines, lines, lines[0].split("  ")])
        if draw.paint_strip(rng, picture, look, texts, row) is None:
            return None
        return as_image(picture), lines, truth
    masks = [look.line(line) for line in lines]
    wide = max(mask.shape[1] for mask, _, _, _ in masks)
    if wide > size[0] - 8:
        return None
    margin = int(height * rng.uniform(0.5, 2.0))
    tall = int(height * 1.6)
    x = rng.choice([margin, (size[0] - wide) // 2, size[0] - wide - margin])
    x = max(2, min(x, size[0] - wide - 2))
    top = rng.choice([margin, size[1] - margin - height - tall * (len(lines) - 1)])
    for number, (mask, first, _, _) in enumerate(masks):
        y = top + number * tall - first
        cut = max(0, -y)
        if draw.paint(rng, picture, mask[cut:], (x, y + cut), look) is None:
            return None
    return as_image(picture), lines, truth


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--data", required=True)
    parser.add_argument("--photos", required=True)
    parser.add_argument("--out", required=True)
    parser.add_argument("--count", type=int, required=True)
    parser.add_argument("--part", default="held")
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--strips", action="store_true", help="the stamp is part of a strip of data along the whole picture")
    args = parser.parse_args()
    rng = random.Random(args.seed)
    fonts = draw.faces(os.path.join(args.data, args.part))
    names = sorted(name for name in os.listdir(args.photos) if name.endswith(".jpg"))
    os.makedirs(args.out, exist_ok=True)
    with open(os.path.join(args.out, "list.jsonl"), "w") as rows:
        done = 0
        while done < args.count:
            photo = Image.open(os.path.join(args.photos, rng.choice(names))).convert("RGB")
            made = stamped(rng, photo, fonts, args.strips)
            if made is None:
                continue
            picture, lines, truth = made
            # Stored turned in any of eight ways; half of those say so in Exif, the others are simply turned.
            turn = rng.randint(1, 8) if rng.random() < 0.4 else 1
            exif = b""
            if turn > 1:
                picture = picture.transpose(EXIF_TURN[turn])
                if rng.random() < 0.5:
                    tags = Image.Exif()
                    tags[0x0112] = turn
                    exif = tags.tobytes()
            name = f"{done:04d}.jpg"
            picture.save(os.path.join(args.out, name), "JPEG", quality=rng.randint(55, 95), exif=exif)
            rows.write(json.dumps({"file": name, "visible_text": "\n".join(lines), "visible_time": truth, "turn": turn}) + "\n")
            done += 1


if __name__ == "__main__":
    main()
