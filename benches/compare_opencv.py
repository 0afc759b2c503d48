#!/usr/bin/env python3
"""Our local features against OpenCV's SIFT and ORB on the same pictures, in one run.

    cargo build --release -p photoproof-core --example feature_matches
    python benches/compare_opencv.py SCENES PAIRS.jsonl [--limit N] [--hard] [--binary FILE]

SCENES holds house-N/ground_truth.jsonl and the pictures; PAIRS.jsonl the pairs with `kind`. For each
kind of pair the table gives the median number of true matches, its 10th percentile, the share of
matches that are true, the share of an 8 x 6 grid they cover and the number of pairs with fewer than
20. A match is true if it lies within 3 working pixels of the stretch of its epipolar line that belongs
to the depths of the scene. Times are means of processor time on one thread, pictures of 1024 pixels.

`--hard` adds what phones add: motion blur, noise, exposure, a burned-in stamp, JPEG at quality 60.

Needs numpy and opencv-python. A test-time tool: nothing here is needed to run the program.
"""

import argparse
import collections
import json
import pathlib
import subprocess
import tempfile
import time

import cv2
import numpy as np

WIDTH = 1024
TOLERANCE = 3.0
FEATURES = 2000
RATIO = 0.8
KINDS = ["matched", "turn", "nearer", "farther"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", type=pathlib.Path)
    parser.add_argument("pairs", type=pathlib.Path)
    parser.add_argument("--limit", type=int, default=0, help="pairs of each kind at most")
    parser.add_argument("--hard", action="store_true", help="degrade the pictures")
    default = "target/release/examples/feature_matches"
    parser.add_argument("--binary", type=pathlib.Path, default=pathlib.Path(default))
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    pairs = read_pairs(arguments.pairs, arguments.limit)
    truth = read_truth(arguments.scenes, pairs)
    with tempfile.TemporaryDirectory() as folder:
        work = pathlib.Path(folder)
        names = sorted({name for pair in pairs for name in (pair["a"], pair["b"])})
        pictures = {n: prepare(arguments.scenes / n, work, i, arguments.hard)
                    for i, n in enumerate(names)}
        report("ours", pairs, truth, *ours(arguments.binary, work, pairs, pictures))
        for name, detector, norm in [
            ("SIFT", cv2.SIFT_create(FEATURES), cv2.NORM_L2),
            ("ORB", cv2.ORB_create(FEATURES), cv2.NORM_HAMMING),
        ]:
            report(name, pairs, truth, *opencv(detector, norm, pairs, pictures))


def read_pairs(path, limit):
    counts = collections.Counter()
    pairs = []
    for line in path.read_text().splitlines():
        pair = json.loads(line)
        kind = pair["kind"]
        if kind in KINDS and (limit == 0 or counts[kind] < limit):
            counts[kind] += 1
            pairs.append(pair)
    return pairs


def read_truth(scenes, pairs):
    truth = {}
    for house in sorted({name.split("/")[0] for pair in pairs for name in (pair["a"], pair["b"])}):
        for line in (scenes / house / "ground_truth.jsonl").read_text().splitlines():
            entry = json.loads(line)
            truth[f"{house}/{entry['file']}"] = entry
    return truth


def prepare(source, work, number, hard):
    """Writes the working picture; returns its path."""
    colour = cv2.imread(str(source))
    height = round(colour.shape[0] * WIDTH / colour.shape[1])
    colour = cv2.resize(colour, (WIDTH, height), interpolation=cv2.INTER_AREA)
    if hard:
        colour = degrade(colour, np.random.default_rng(number))
    target = work / f"{number}.png"
    cv2.imwrite(str(target), cv2.cvtColor(colour, cv2.COLOR_BGR2GRAY))
    return target


def degrade(colour, random):
    length = int(random.integers(3, 8)) | 1
    kernel = np.zeros((length, length), np.float32)
    kernel[length // 2, :] = 1
    middle = (length - 1) / 2
    turn = cv2.getRotationMatrix2D((middle, middle), float(random.uniform(0, 180)), 1)
    kernel = cv2.warpAffine(kernel, turn, (length, length))
    values = cv2.filter2D(colour.astype(np.float32), -1, kernel / kernel.sum())
    values = values * random.uniform(0.6, 1.35)
    values = np.clip(np.clip(values, 0, 255) + random.normal(0, 7, values.shape), 0, 255)
    values = values.astype(np.uint8)
    place = (int(values.shape[1] * 0.7), int(values.shape[0] * 0.96))
    text = f"2026-04-11 08:{int(random.integers(10, 60))}"
    cv2.putText(values, text, place, cv2.FONT_HERSHEY_SIMPLEX, 0.9, (0, 140, 255), 2, cv2.LINE_AA)
    return cv2.imdecode(cv2.imencode(".jpg", values, [cv2.IMWRITE_JPEG_QUALITY, 60])[1], 1)


def ours(binary, work, pairs, pictures):
    listing = work / "pairs.jsonl"
    lines = [json.dumps({k: pictures[pair[k]].name for k in "ab"}) for pair in pairs]
    listing.write_text("\n".join(lines) + "\n")
    command = [str(binary), str(listing), str(work)]
    run = subprocess.run(command, capture_output=True, text=True, check=True)
    results = [json.loads(line) for line in run.stdout.splitlines()]
    points = [np.array(r["points"], float).reshape(-1, 5)[:, :4] for r in results]
    return points, [r["extract_ms"] for r in results], [r["match_ms"] for r in results]


def opencv(detector, norm, pairs, pictures):
    features, extract = {}, []
    for name, path in pictures.items():
        gray = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        start = time.thread_time()
        keypoints, descriptors = detector.detectAndCompute(gray, None)
        extract.append((time.thread_time() - start) * 1e3)
        # OpenCV puts the centre of the first pixel at 0, 0.
        places = np.array([k.pt for k in keypoints], float).reshape(-1, 2) + 0.5
        features[name] = places, descriptors
    matcher = cv2.BFMatcher(norm)
    points, match = [], []
    for pair in pairs:
        (places_a, a), (places_b, b) = features[pair["a"]], features[pair["b"]]
        start = time.thread_time()
        found = mutual(matcher, a, b)
        match.append((time.thread_time() - start) * 1e3)
        points.append(np.array([[*places_a[i], *places_b[j]] for i, j in found]).reshape(-1, 4))
    return points, extract, match


def mutual(matcher, a, b):
    if a is None or b is None or min(len(a), len(b)) < 2:
        return []

    def nearest(one, other):
        both = matcher.knnMatch(one, other, k=2)
        return {m.queryIdx: m.trainIdx for m, n in both if m.distance < RATIO * n.distance}

    forth, back = nearest(a, b), nearest(b, a)
    return [(i, j) for i, j in forth.items() if back.get(j) == i]


def is_true(a, b, points):
    """Whether each match lies on its stretch of epipolar line."""
    def camera(entry):
        fx, fy, cx, cy = (entry[k] * WIDTH / entry["width"] for k in ("fx", "fy", "cx", "cy"))
        return np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1]])

    pose_a, pose_b = np.array(a["pose_c2w"]), np.array(b["pose_c2w"])
    rotation = pose_b[:3, :3].T @ pose_a[:3, :3]
    shift = pose_b[:3, :3].T @ (pose_a[:3, 3] - pose_b[:3, 3])
    depths = np.array(a["depth_grid_8x6"], float)
    sky = depths > 900
    near = min(0.5 * depths.min(), 1.0)
    far = 1000.0 if sky.any() else 1.6 * depths.max()
    rays = np.c_[points[:, :2], np.ones(len(points))] @ np.linalg.inv(camera(a)).T

    def seen(depth):
        place = (rays * depth) @ rotation.T + shift
        image = place @ camera(b).T
        return image[:, :2] / np.maximum(image[:, 2:], 1e-6), place[:, 2] > 0.05

    start, visible = seen(near)
    end, end_visible = seen(far)
    depth = near
    while not visible.all() and depth < far:
        depth *= 1.15
        place, front = seen(depth)
        fresh = ~visible & front
        start[fresh] = place[fresh]
        visible |= front
    along = end - start
    position = ((points[:, 2:] - start) * along).sum(1) / ((along**2).sum(1) + 1e-9)
    foot = start + np.clip(position, 0, 1)[:, None] * along
    return (np.linalg.norm(points[:, 2:] - foot, axis=1) < TOLERANCE) & visible & end_visible


def report(name, pairs, truth, points, extract, match):
    print(f"{name}: extract {np.mean(extract):.1f} ms a photo, match {np.mean(match):.2f} ms a pair")
    rows = collections.defaultdict(list)
    for pair, found in zip(pairs, points):
        a, b = truth[pair["a"]], truth[pair["b"]]
        good = found[is_true(a, b, found)] if len(found) else found
        # Several features at one place count once.
        count = len({(round(x / 2), round(y / 2)) for x, y in good[:, :2]})
        height = WIDTH * a["height"] / a["width"]
        cells = {(int(x / WIDTH * 8), int(y / height * 6)) for x, y in good[:, :2]}
        rows[pair["kind"]].append((count, len(found), len(good), len(cells) / 48))
    for kind in KINDS:
        if rows[kind]:
            count, found, good, spread = np.array(rows[kind]).T
            print(f"  {kind:8} {len(count):4} pairs: median {np.median(count):5.0f} true matches, "
                  f"10th percentile {np.percentile(count, 10):4.0f}, "
                  f"{100 * good.sum() / max(found.sum(), 1):3.0f} % of matches, "
                  f"spread {spread.mean():.2f}, under 20: {(count < 20).sum()}")


if __name__ == "__main__":
    main()
