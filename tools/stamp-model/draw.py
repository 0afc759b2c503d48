"""Draws date stamps as cameras and phones burn them in, on photographs and made-up backgrounds.

Everything random comes from one `random.Random`, so a seed gives the same stamps again.
"""

import gzip
import io
import os
import random

import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageFont

MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December"]
DAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
SYMBOLS = " 0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ/-.:,'*"
SEGMENT_ONLY = set("0123456789:-. ")


def target(text):
    """What the recogniser is to answer: upper case, one space, `*` for any other character."""
    kept = "".join(c if c in SYMBOLS else "*" for c in text.upper().replace("\u2019", "'"))
    return " ".join(kept.split())


class Face:
    """A typeface: outlines by FreeType, or a console bitmap font (PSF)."""

    def __init__(self, path):
        self.path = path
        self.name = os.path.basename(path)
        self.segments = self.name.startswith("DSEG7")
        self.bitmap = None
        self.cache = {}
        if path.endswith(".psf.gz"):
            self.bitmap = read_psf(path)
        else:
            font = ImageFont.truetype(path, 200)
            box = font.getbbox("0")
            self.unit = 200.0 / max(1, box[3] - box[1])

    def mask(self, text, height, spacing=0):
        """Grey mask of `text` whose digits are `height` pixels tall, and (top, bottom) of the digits."""
        if self.bitmap is not None:
            return self.bitmap_mask(text, height)
        size = max(5, int(round(height * self.unit)))
        font = self.cache.get(size)
        if font is None:
            if len(self.cache) > 60:
                self.cache.clear()
            font = self.cache[size] = ImageFont.truetype(self.path, size)
        zero = font.getbbox("0")
        pad = height // 2 + 4
        if spacing:
            width = sum(font.getlength(c) + spacing for c in text)
        else:
            width = font.getlength(text)
        mask = Image.new("L", (int(width) + 2 * pad, zero[3] - zero[1] + 2 * pad), 0)
        draw = ImageDraw.Draw(mask)
        y = pad - zero[1]
        if spacing:
            x = pad
            for c in text:
                draw.text((x, y), c, font=font, fill=255)
                x += font.getlength(c) + spacing
        else:
            draw.text((pad, y), text, font=font, fill=255)
        return mask, pad, pad + zero[3] - zero[1]

    def bitmap_mask(self, text, height):
        glyphs = [self.bitmap.get(c, self.bitmap["-"]) for c in text]
        rows = np.concatenate(glyphs, axis=1)
        zero = np.where(self.bitmap["0"].any(axis=1))[0]
        top, bottom = int(zero[0]), int(zero[-1]) + 1
        scale = height / (bottom - top)
        size = (max(1, int(round(rows.shape[1] * scale))), max(1, int(round(rows.shape[0] * scale))))
        near = Image.NEAREST if scale >= 1 else Image.BOX
        mask = Image.fromarray((rows * 255).astype(np.uint8)).resize(size, near)
        pad = height // 2 + 4
        out = Image.new("L", (size[0] + 2 * pad, size[1] + 2 * pad), 0)
        out.paste(mask, (pad, pad))
        return out, pad + int(round(top * scale)), pad + int(round(bottom * scale))


def read_psf(path):
    """Glyphs of ASCII from a PC Screen Font, version 1 or 2."""
    data = gzip.open(path).read()
    if data[:2] == b"\x36\x04":
        start, size, height, width = 4, data[3], data[3], 8
    else:
        words = np.frombuffer(data[:32], "<u4")
        start, size, height, width = int(words[2]), int(words[5]), int(words[6]), int(words[7])
    row = (width + 7) // 8
    glyphs = {}
    for code in range(32, 127):
        raw = np.frombuffer(data[start + code * size:start + (code + 1) * size], np.uint8)
        glyphs[chr(code)] = np.unpackbits(raw.reshape(height, row), axis=1)[:, :width]
    return glyphs


def faces(folder):
    return [Face(os.path.join(folder, name)) for name in sorted(os.listdir(folder))
            if name.endswith((".ttf", ".otf", ".psf.gz"))]


# ---------------------------------------------------------------- texts

def date_text(rng):
    """A date as shown; values are mostly real dates, sometimes any digits (no habit may be learnt)."""
    y, m, d = rng.randint(1998, 2039), rng.randint(1, 12), rng.randint(1, 31)
    if rng.random() < 0.12:
        y, m, d = rng.randint(0, 9999), rng.randint(0, 99), rng.randint(0, 99)
    name = MONTHS[(m - 1) % 12]
    short = name[:3]
    if rng.random() < 0.5:
        name, short = name.upper(), short.upper()
    dd = f"{d:02d}" if rng.random() < 0.8 else f"{d}"
    mm = f"{m:02d}" if rng.random() < 0.8 else f"{m}"
    yyyy, yy = f"{y:04d}", f"{y % 100:02d}"
    s = rng.choice(["-", "/", ".", "-", "/", ".", " ", ":"])
    kind = rng.random()
    if kind < 0.28:
        return s.join([yyyy, mm, dd])
    if kind < 0.48:
        return s.join([mm, dd, yyyy])
    if kind < 0.62:
        return s.join([dd, mm, yyyy])
    if kind < 0.72:
        return s.join([mm, dd, yy])
    if kind < 0.76:
        return s.join([yy, mm, dd])
    if kind < 0.86:
        gap = rng.choice([" ", "  ", "."])
        if rng.random() < 0.4:
            # Digits in fixed places: one digit leaves a space.
            gap, mm, dd = " ", f"{m:2d}", f"{d:2d}"
        parts = rng.choice([["'" + yy, mm, dd], ["'" + yy, mm, dd], [mm, dd, "'" + yy], [dd, mm, "'" + yy]])
        return gap.join(parts)
    word = rng.choice([short, short, short, name])
    day = rng.choice(DAYS)
    day = rng.choice(["", "", "", "", day[:3] + " ", day[:3] + ", ", day + ", "])
    return day + rng.choice([f"{word} {d} {yyyy}", f"{word} {d}, {yyyy}", f"{d} {word} {yyyy}",
                             f"{dd}-{short}-{yyyy}", f"{dd} {word} {yyyy}", f"{word} {dd} {yyyy}",
                             f"{dd}-{short}-{yy}", f"{short}.{dd}.{yyyy}", f"{yyyy} {short} {dd}",
                             f"{dd}{short}{yyyy}", f"{dd}/{short}/{yyyy}"])


def time_text(rng):
    h, m, s = rng.randint(0, 23), rng.randint(0, 59), rng.randint(0, 59)
    if rng.random() < 0.08:
        h, m, s = rng.randint(0, 99), rng.randint(0, 99), rng.randint(0, 99)
    if rng.random() < 0.62:
        hh = f"{h:02d}" if rng.random() < 0.85 else f"{h}"
        return rng.choice([f"{hh}:{m:02d}:{s:02d}", f"{hh}:{m:02d}"])
    half = rng.choice(["AM", "PM", "am", "pm", "A.M.", "p.m."] if rng.random() < 0.15 else ["AM", "PM", "am", "pm"])
    hh = f"{h % 12 or 12:02d}" if rng.random() < 0.4 else f"{h % 12 or 12}"
    gap = rng.choice([" ", " ", " ", ""])
    return rng.choice([f"{hh}:{m:02d}:{s:02d}{gap}{half}", f"{hh}:{m:02d}{gap}{half}"])


def junk_text(rng):
    kind = rng.random()
    if kind < 0.35:
        return f"{rng.randint(-20, 110)}{rng.choice(['°', ' ', '°'])}{rng.choice('CF')}"
    if kind < 0.45:
        return "".join(rng.choice("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789")
                       for _ in range(rng.randint(1, 9)))
    if kind < 0.8:
        return rng.choice(["Kitchen", "Bath 1", "BEFORE", "After", "During", "Lat", "N", "W", "Camera 2",
                           "No.", "ISO 200", "GMT", "UTC-6", "CST", "#12", "Unit 4B", "Garage"])
    return "".join(rng.choice("0123456789-./:,' ") for _ in range(rng.randint(3, 12)))


def stamp_lines(rng):
    """One or two lines of a stamp."""
    date, time = date_text(rng), time_text(rng)
    kind = rng.random()
    if kind < 0.15:
        lines = [date]
    elif kind < 0.62:
        lines = [date + rng.choice([" ", " ", "  ", "   ", ", ", " - "]) + time]
    elif kind < 0.72:
        lines = [time + rng.choice([" ", "  ", ", "]) + date]
    else:
        lines = [date, time] if rng.random() < 0.8 else [time, date]
    if rng.random() < 0.12:
        at = rng.randrange(len(lines))
        junk = junk_text(rng)
        lines[at] = lines[at] + " " * rng.randint(1, 4) + junk if rng.random() < 0.7 else junk + "  " + lines[at]
    return lines


def text_line(rng):
    """One line for the recogniser."""
    if rng.random() < 0.08:
        return junk_text(rng)
    return rng.choice(stamp_lines(rng))


def strip_items(rng):
    """What cameras that write a whole strip of data put beside the date, in any order: at most five short items."""
    celsius = rng.randint(-20, 45)
    fahrenheit = round(celsius * 1.8 + 32)
    degree = rng.choice(["°", "°", "°", " ", ""])
    makers = [
        lambda: f"{celsius}{degree}C", lambda: f"{fahrenheit}{degree}F", lambda: f"{fahrenheit}{degree}F {celsius}{degree}C",
        lambda: f"{celsius}{degree}C/{fahrenheit}{degree}F", lambda: f"{celsius:03d}{degree}C",
        lambda: rng.choice("MTPVS"), lambda: f"{rng.choice('MT')} {rng.randint(1, 5)}/{rng.randint(3, 10)}",
        lambda: f"{rng.randint(1, 3)}/{rng.randint(1, 3)}", lambda: f"{rng.uniform(28, 31):.2f}in", lambda: f"{rng.uniform(28, 31):.2f} inHg",
        lambda: f"{rng.randint(960, 1040)}hPa", lambda: f"{rng.randint(1, 99)}%", lambda: f"{rng.randint(1, 9999):04d}",
        lambda: f"IMG_{rng.randint(1, 9999):04d}", lambda: f"{rng.choice(['CAM', 'Cam ', 'CAMERA', 'C'])}{rng.randint(1, 40):02d}",
        lambda: "".join(rng.choice("ABCDEFGHIKLMNOPRSTUVWY") for _ in range(rng.randint(4, 10))),
        lambda: rng.choice(["@moon", "@moon", "@battery", "@dot"]), lambda: "@moon",
    ]
    return [rng.choice(makers)() for _ in range(rng.randint(1, 5))]


# ---------------------------------------------------------------- looks

def colour(rng):
    base = rng.choice([(255, 176, 32), (255, 140, 0), (255, 200, 60), (255, 255, 255), (255, 255, 255),
                       (245, 245, 245), (255, 255, 0), (255, 40, 30), (220, 20, 20), (120, 255, 80),
                       (90, 200, 255), (0, 0, 0), (255, 120, 60)])
    return tuple(min(255, max(0, c + rng.randint(-20, 20))) for c in base)


def luma(c):
    return 0.3 * c[0] + 0.59 * c[1] + 0.11 * c[2]


def far_enough(ink, ground):
    """Whether a person could read `ink` on `ground` (means of colours)."""
    spread = max(abs(a - b) for a, b in zip(ink, ground))
    return abs(luma(ink) - luma(ground)) > 45 or spread > 110


class Look:
    """How one stamp is drawn; the same for both of its lines."""

    def __init__(self, rng, face, height):
        self.face = face
        self.height = height
        self.ink = colour(rng)
        self.spacing = rng.choice([0, 0, 0, 0, 0, rng.uniform(0, 0.2) * height])
        self.aspect = rng.choice([1, 1, 1, rng.uniform(0.75, 1.5)])
        if face.bitmap is not None:
            self.aspect = rng.choice([1, 1.5, 2, rng.uniform(0.8, 2)])
        self.slant = rng.choice([0] * 9 + [rng.uniform(-0.05, 0.25)])
        self.outline = rng.choice([None, None, "dark", "dark", "soft", "shadow"])
        dark = luma(self.ink) > 110
        self.outline_ink = tuple(rng.randint(0, 50) if dark else rng.randint(200, 255) for _ in range(3))
        self.box = rng.choice([None] * 7 + ["solid", "veil", "bar"])
        self.box_ink = self.outline_ink
        self.soft = rng.choice([0, 0, 0, rng.uniform(0.2, 0.09 * height / 2 + 0.3)])
        self.opacity = rng.choice([1, 1, 1, rng.uniform(0.75, 1)])

    def line(self, text):
        """Mask as float array and the digits' top and bottom row."""
        if self.face.segments:
            text = "".join(c if c in SEGMENT_ONLY else "-" for c in text)
        mask, top, bottom = self.face.mask(text, self.height, self.spacing)
        if abs(self.aspect - 1) > 0.02 or self.slant:
            width = max(4, int(mask.width * self.aspect))
            if self.slant:
                shift = self.slant * mask.height
                mask = mask.transform((width + int(abs(shift)) + 1, mask.height), Image.AFFINE,
                                      (1 / self.aspect, self.slant / self.aspect, -max(0, shift) / self.aspect, 0, 1, 0), Image.BILINEAR)
            else:
                mask = mask.resize((width, mask.height), Image.BILINEAR)
        if self.soft:
            mask = mask.filter(ImageFilter.GaussianBlur(self.soft))
        return np.asarray(mask, np.float32) / 255.0, top, bottom, text


def paint(rng, picture, mask, at, look):
    """Blends a line into `picture` (float array, changed in place) with its mask's corner at (x, y)."""
    x, y = at
    h, w = mask.shape
    view = picture[y:y + h, x:x + w]
    mask = mask[:view.shape[0], :view.shape[1]]
    cols = np.where(mask.max(axis=0) > 0.3)[0]
    rows = np.where(mask.max(axis=1) > 0.3)[0]
    if len(cols) == 0 or len(rows) == 0:
        return None
    ink = np.array(look.ink, np.float32)
    if look.box:
        a = rng.randint(1, max(2, look.height // 3))
        x0, x1 = max(0, cols[0] - a), cols[-1] + a
        y0, y1 = max(0, rows[0] - a), rows[-1] + a
        strength = 1.0 if look.box != "veil" else rng.uniform(0.4, 0.8)
        part = view[y0:y1, x0:x1]
        if look.box == "bar":
            part = picture[y + y0:y + y1, :]
        part += (np.array(look.box_ink, np.float32) - part) * strength
    elif look.outline is None:
        ground = view[rows[0]:rows[-1] + 1, cols[0]:cols[-1] + 1].reshape(-1, 3)
        if not far_enough(look.ink, ground.mean(axis=0)) or ground.std(axis=0).max() > 55:
            bright = luma(ground.mean(axis=0)) > 128
            look.ink = rng.choice([(0, 0, 0), (200, 10, 10)] if bright else [(255, 255, 255), (255, 190, 50)])
            ink = np.array(look.ink, np.float32)
    if look.outline:
        grey = Image.fromarray((mask * 255).astype(np.uint8))
        r = max(1, int(round(look.height * rng.uniform(0.04, 0.12))))
        if look.outline == "shadow":
            edge = np.roll(np.roll(mask, r, 0), r, 1)
        elif look.outline == "soft":
            edge = np.asarray(grey.filter(ImageFilter.GaussianBlur(r * 1.5)), np.float32) / 255.0 * 1.6
        else:
            edge = np.asarray(grey.filter(ImageFilter.MaxFilter(2 * r + 1)), np.float32) / 255.0
        edge = np.clip(edge, 0, 1)[:view.shape[0], :view.shape[1], None] * rng.uniform(0.7, 1)
        view += (np.array(look.outline_ink, np.float32) - view) * edge
    view += (ink - view) * (mask[:, :, None] * look.opacity)
    return cols[0], cols[-1] + 1


def sign(rng, kind, height):
    """A moon, a battery or a dot among the items of a strip: mask of `height` rows."""
    side = max(5, int(height * rng.uniform(0.9, 1.3)))
    mask = Image.new("L", (2 * side if kind == "@battery" else side, side), 0)
    draw = ImageDraw.Draw(mask)
    if kind == "@battery":
        draw.rectangle([0, side // 5, 2 * side - side // 3, side - side // 5], outline=255, width=max(1, side // 9))
        draw.rectangle([0, side // 5, int(side * rng.uniform(0.2, 1.6)), side - side // 5], fill=255)
    else:
        draw.ellipse([0, 0, side - 1, side - 1], outline=255, width=max(1, side // 10), fill=255 if kind == "@dot" else None)
        if kind == "@moon":
            start = rng.choice([90, 270])
            draw.pieslice([0, 0, side - 1, side - 1], start, start + rng.choice([180, 180, 0, 360]), fill=255)
    return np.asarray(mask, np.float32) / 255.0


def paint_strip(rng, picture, look, texts, row):
    """A strip of data over the whole width of `picture`, its digits' top at `row`, changed in place.

    `texts` are the date's pieces; other items stand beside them. Returns what was drawn from left to right as
    (x0, y0, x1, y1, text, whether it is of `texts`), or None where `texts` find no room; the text of a sign is `*`.
    """
    height, width = look.height, picture.shape[1]
    items = strip_items(rng)
    at = rng.choice([0, 0, len(items), len(items), rng.randint(0, len(items))])
    if len(texts) == 2 and rng.random() < 0.3:
        items[at:at] = texts[:1]
        items.insert(rng.randint(at + 1, len(items)), texts[1])
    else:
        items[at:at] = texts
    masks = []
    for item in items:
        if item.startswith("@"):
            masks.append((sign(rng, item, height), 0, height, "*", False))
        else:
            mask, top, bottom, text = look.line(item)
            cols = np.where(mask.max(axis=0) > 0.3)[0]
            if not len(cols):
                return None
            masks.append((mask[:, cols[0]:cols[-1] + 1], top, bottom, text, item in texts))
    least = [height * rng.uniform(0.9, 2.5) for _ in masks]
    room = width - sum(mask.shape[1] for mask, *_ in masks) - sum(least)
    while room < 0 and not all(own for *_, own in masks):
        victim = rng.choice([i for i, (*_, own) in enumerate(masks) if not own])
        room += masks[victim][0].shape[1] + least[victim]
        del masks[victim], least[victim]
    if room < 0:
        return None
    # Spare room lies between two items, at the end, or is shared.
    spare = [0.0] * (len(masks) + 1)
    for _ in range(rng.choice([1, 1, 2, len(spare)])):
        spare[rng.randrange(len(spare))] += 1
    spare = [share / sum(spare) * room for share in spare]
    strength = rng.choice([1, 1, 1, rng.uniform(0.4, 0.8), 0])
    edge = int(height * rng.uniform(0.15, 0.7)) + 1
    if strength:
        part = picture[max(0, row - edge):row + height + edge]
        part += (np.array(look.outline_ink, np.float32) - part) * strength
        look.outline = None if strength == 1 else look.outline
    look.box = None
    x, spans = 0.0, []
    for (mask, top, bottom, text, own), gap, more in zip(masks, least, spare):
        x += gap / 2 + more
        y = row - top + (height - (bottom - top)) // 2
        cut = max(0, -y)
        paint(rng, picture, mask[cut:], (int(x), y + cut), look)
        spans.append((int(x), row, int(x) + mask.shape[1], row + bottom - top, text, own))
        x += mask.shape[1] + gap / 2
    return spans


def made_up(rng, width, height):
    """A background without a photo: flat, a gradient, bands, or blobs of noise."""
    noise = np.random.default_rng(rng.getrandbits(32))
    base = noise.uniform(0, 255, 3)
    kind = rng.random()
    out = np.empty((height, width, 3), np.float32)
    out[:] = base
    if kind < 0.3:
        out[:] = rng.choice([235, 250, 255, 20, 5]) + noise.uniform(-5, 5, 3)
    elif kind < 0.55:
        ramp = np.linspace(-1, 1, width)[None, :, None] * noise.uniform(-90, 90, 3)
        out += ramp + np.linspace(-1, 1, height)[:, None, None] * noise.uniform(-90, 90, 3)
    else:
        cells = 2 ** rng.randint(1, 5)
        small = noise.normal(0, rng.uniform(10, 60), (max(2, height // cells + 1), max(2, width // cells + 1), 3))
        small = small.mean(axis=2, keepdims=True) + 0.35 * small
        small = np.clip(128 + small, 0, 255).astype(np.uint8)
        big = Image.fromarray(small).resize((width, height), rng.choice([Image.NEAREST, Image.BICUBIC]))
        out += np.asarray(big, np.float32) - 128
    out += noise.standard_normal((height, width, 1), np.float32) * rng.uniform(0, 8)
    return np.clip(out, 0, 255)


class Grounds:
    """Backgrounds: pieces of photographs and made-up ones."""

    def __init__(self, folder):
        names = sorted(os.listdir(folder))
        self.photos = [Image.open(os.path.join(folder, name)).convert("RGB") for name in names]
        for photo in self.photos:
            photo.load()

    def piece(self, rng, width, height, scale=None):
        if rng.random() < 0.25:
            return made_up(rng, width, height)
        photo = rng.choice(self.photos)
        scale = scale or 2 ** rng.uniform(-1, 1.3)
        w, h = min(photo.width, max(8, int(width / scale))), min(photo.height, max(8, int(height / scale)))
        x, y = rng.randint(0, photo.width - w), rng.randint(0, photo.height - h)
        piece = photo.resize((width, height), Image.BILINEAR, box=(x, y, x + w, y + h))
        if rng.random() < 0.5:
            piece = piece.transpose(rng.randrange(7)) if width == height else piece.transpose(Image.FLIP_LEFT_RIGHT)
        out = np.asarray(piece, np.float32)
        gain, lift = rng.uniform(0.5, 1.7), rng.uniform(-40, 50)
        out = out * gain + lift
        if rng.random() < 0.3:
            out = out * np.array([rng.uniform(0.7, 1.2) for _ in range(3)], np.float32)
        if rng.random() < 0.4:
            noise = np.random.default_rng(rng.getrandbits(32))
            out = out + noise.standard_normal(out.shape[:2] + (1,), np.float32) * rng.uniform(2, 18)
        return np.clip(out, 0, 255)


def store(rng, picture):
    """JPEG there and back."""
    picture = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    if rng.random() < 0.1:
        return picture
    held = io.BytesIO()
    picture.save(held, "JPEG", quality=rng.randint(45, 95), subsampling=rng.choice([0, 2, 2]))
    return Image.open(held).convert("RGB")


# ---------------------------------------------------------------- samples

LINE_HEIGHT = 24
DIGITS_IN_LINE = 16.0


def strip_lines(rng, look, grounds):
    """Neighbours of a strip of data: picture, left and right end of the text and of the ground around it, and
    top, bottom and text of the line."""
    height = look.height
    picture = grounds.piece(rng, int(height * rng.uniform(25, 70)), 6 * height)
    texts = stamp_lines(rng) if rng.random() < 0.85 else [junk_text(rng)]
    items = paint_strip(rng, picture, look, texts, 2 * height + height // 2)
    if not items:
        return None
    own = [i for i, item in enumerate(items) if item[5]]
    first, last = own[0], own[-1]
    if len(own) > 1 and rng.random() < 0.4:
        first = last = rng.choice(own)
    # Neighbours that stand close are taken for parts of the line.
    while first and (items[first][0] - items[first - 1][2] < 1.2 * height or rng.random() < 0.3):
        first -= 1
    while last + 1 < len(items) and (items[last + 1][0] - items[last][2] < 1.2 * height or rng.random() < 0.3):
        last += 1
    ends = (items[first - 1][2] + 2 if first else 0, items[last + 1][0] - 2 if last + 1 < len(items) else picture.shape[1])
    line = items[first:last + 1]
    return (store(rng, picture), (line[0][0], line[-1][2]), ends, (line[0][1], max(item[3] for item in line)),
            target(" ".join(item[4] for item in line)))


def line_samples(rng, fonts, grounds, count=2):
    """A line as the recogniser gets it, cut `count` times: RGB arrays of 24 rows, and the text."""
    face = rng.choice(fonts)
    height = int(round(2 ** rng.uniform(3.0, 5.0)))
    look = Look(rng, face, height)
    if rng.random() < 0.25:
        found = strip_lines(rng, look, grounds)
        if found:
            picture, span, ends, rows, text = found
            yield from cuts(rng, picture, span, ends, rows, text, count, 2.4)
        return
    mask, top, bottom, text = look.line(text_line(rng))
    h, w = mask.shape
    extra = height * 2 + 4
    # A line that was taken for a longer one has much background at its ends.
    reach = rng.choice([2.4] * 7 + [7.5])
    side = int(height * max(2, reach)) + 4
    picture = grounds.piece(rng, w + 2 * side, h + 2 * extra)
    span = paint(rng, picture, mask, (side, extra), look)
    if span is None:
        return
    # A second line near it, as in stamps of two lines.
    if rng.random() < 0.25:
        other, _, _, _ = look.line(text_line(rng))
        gap = int(height * rng.uniform(1.45, 2.0)) * rng.choice([-1, 1])
        if extra + gap >= 0:
            paint(rng, picture, other, (max(0, side + rng.randint(-3, 3)), extra + gap), look)
    picture = store(rng, picture)
    yield from cuts(rng, picture, (side + span[0], side + span[1]), (0, picture.width), (extra + top, extra + bottom),
                    target(text), count, reach)


def cuts(rng, picture, span, ends, rows, text, count, reach):
    """`count` cuts of the line between the columns `span` and the rows `rows`, none beyond the columns `ends`."""
    height = rows[1] - rows[0]
    for _ in range(count):
        # Digits fill 16 of the 24 rows, more or less.
        scale = DIGITS_IN_LINE / height * 2 ** rng.uniform(-0.27, 0.27)
        middle = sum(rows) / 2 + rng.uniform(-0.14, 0.14) * height
        tall = LINE_HEIGHT / scale
        left = max(ends[0], span[0] - rng.uniform(0.0, reach) * height)
        right = min(ends[1], span[1] + rng.uniform(0.0, reach) * height)
        y0, y1 = max(0, middle - tall / 2), min(picture.height, middle + tall / 2)
        width = int(round((right - left) * scale))
        if 16 <= width <= 1000:
            line = picture.resize((width, LINE_HEIGHT), Image.BILINEAR, box=(left, y0, right, y1))
            yield np.asarray(line), text


# Names of the eight ways a stamp can lie, as PIL transpositions applied after drawing.
TURNS = [None, Image.ROTATE_180, Image.FLIP_LEFT_RIGHT, Image.FLIP_TOP_BOTTOM,
         Image.ROTATE_90, Image.ROTATE_270, Image.TRANSPOSE, Image.TRANSVERSE]


def place_sample(rng, fonts, grounds, size):
    """A square piece of a picture for the detector, and its lines as (x0, y0, x1, y1) before turning."""
    picture = grounds.piece(rng, size, size, 2 ** rng.uniform(-0.6, 1.0))
    boxes = []
    if rng.random() < 0.2:
        height = int(round(2 ** rng.uniform(2.95, 5.0)))
        wide = max(size, int(height * rng.uniform(25, 60)))
        whole = grounds.piece(rng, wide, size, 2 ** rng.uniform(-0.6, 1.0))
        # Mostly at the top or at the bottom.
        row = rng.choice([rng.randint(2, height + 2), size - height - rng.randint(3, height + 3), rng.randint(2, size - height - 4)])
        items = paint_strip(rng, whole, Look(rng, rng.choice(fonts), height), stamp_lines(rng), row) or []
        left = rng.randint(0, wide - size)
        picture = whole[:, left:left + size]
        boxes = [(max(0, x0 - left), y0, min(size, x1 - left), y1) for x0, y0, x1, y1, text, _ in items
                 if text != "*" and x1 > left + 2 and x0 < left + size - 2]
    elif rng.random() < 0.72:
        height = int(round(2 ** rng.uniform(2.95, 5.3)))
        look = Look(rng, rng.choice(fonts), height)
        lines = stamp_lines(rng) if rng.random() < 0.9 else [junk_text(rng)]
        x = None
        y = rng.randint(2, size - height - 4)
        for text in lines:
            mask, top, bottom, _ = look.line(text)
            pad = top
            if x is None:
                x = rng.randint(-mask.shape[1] // 2, size - height * 2)
            # Cut what lies outside on the left or above.
            cut_x, cut_y = max(0, -x), max(0, pad - y)
            piece = mask[cut_y:, cut_x:]
            span = paint(rng, picture, piece, (max(0, x), max(0, y - pad)), look) if piece.size else None
            if span:
                boxes.append((max(0, x) + span[0], y, max(0, x) + span[1], y + bottom - top))
            y += int(height * rng.uniform(1.35, 1.9))
            if y > size - 6:
                break
    turn = rng.choice(TURNS) if rng.random() < 0.7 else None
    image = Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8))
    if turn is not None:
        image = image.transpose(turn)
    image = store(rng, np.asarray(image, np.float32))
    return np.asarray(image), boxes, TURNS.index(turn)
