#!/usr/bin/env python3
"""Our viewpoint verdicts against a careful use of OpenCV's SIFT on the same pairs, in one run.

    cargo build --release -p photoproof-core --example accuracy
    python benches/compare_viewpoint.py ROOT PAIRS.jsonl [--limit N] [--binary FILE]

PAIRS.jsonl has the form of `photoproof compare --list` with the truth members `kind`, `rot_deg`, `ratio`
and the intrinsics `Ka`, `Kb`. OpenCV's side: pictures of 1024 pixels, 2,000 keypoints, root-normalised
descriptors (Arandjelovic and Zisserman 2012), mutual matches with ratio 0.8, the essential matrix by
USAC_MAGSAC with known intrinsics, the homography's rotation where it explains nearly as many matches
(no parallax), 25 inliers as evidence; the distance ratio from the triangulated points nearest the middle
of picture a; the same limits (10 degrees, 0.8 to 1.25). Times are wall clock on one thread of an otherwise
idle machine: keypoints a picture, and matching with estimation a pair.

Needs numpy and opencv-python. A test-time tool: nothing here is needed to run the program.
"""

import argparse
import collections
import json
import os
import pathlib
import subprocess
import tempfile
import time

import cv2
import numpy as np

WIDTH = 1024
KEYPOINTS = 2000
RATIO = 0.8
EVIDENCE = 25
NOISE_PX = 1.0
KINDS = ["matched", "turn", "nearer", "farther", "lookalike", "other_corner"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("root", type=pathlib.Path)
    parser.add_argument("pairs", type=pathlib.Path)
    parser.add_argument("--limit", type=int, default=0, help="pairs of each kind at most")
    default = "target/release/examples/accuracy"
    parser.add_argument("--binary", type=pathlib.Path, default=pathlib.Path(default))
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    pairs = read_pairs(arguments.pairs, arguments.limit)
    print_table("ours", pairs, *ours(arguments.binary, arguments.root, pairs))
    print_table("OpenCV SIFT", pairs, *opencv(arguments.root, pairs))


def read_pairs(path, limit):
    seen = collections.Counter()
    pairs = []
    for line in path.read_text().splitlines():
        pair = json.loads(line)
        seen[pair["kind"]] += 1
        if pair["kind"] in KINDS and (not limit or seen[pair["kind"]] <= limit):
            pairs.append(pair)
    return pairs


def ours(binary, root, pairs):
    """Relation, rotation, ratio of each pair; milliseconds a picture and a pair."""
    with tempfile.TemporaryDirectory() as folder:
        work = pathlib.Path(folder)
        (work / "pairs.jsonl").write_text("".join(json.dumps(pair) + "\n" for pair in pairs))
        command = [binary, "--list", work / "pairs.jsonl", "--root", root, "--json", work / "out.json"]
        one_thread = os.environ | {"RAYON_NUM_THREADS": "1"}
        printed = subprocess.run(command, check=True, env=one_thread, capture_output=True, text=True).stdout
        rows = json.loads((work / "out.json").read_text())
    picture_ms = next(float(line.split()[1]) for line in printed.splitlines() if line.startswith("features:"))
    answers = [(row["relation"], row["rotation_deg"], row["distance_ratio"]) for row in rows]
    return answers, picture_ms, float(np.mean([row["pair_ms"] for row in rows]))


def opencv(root, pairs):
    sift = cv2.SIFT_create(KEYPOINTS)
    features, spent = {}, 0.0
    for name in sorted({name for pair in pairs for name in (pair["a"], pair["b"])}):
        picture = cv2.imread(str(root / name), cv2.IMREAD_GRAYSCALE)
        scale = WIDTH / picture.shape[1]
        picture = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        start = time.perf_counter()
        keypoints, descriptors = sift.detectAndCompute(picture, None)
        spent += time.perf_counter() - start
        points = np.array([k.pt for k in keypoints], dtype=np.float64).reshape(-1, 2)
        if descriptors is not None:
            descriptors = np.sqrt(descriptors / np.maximum(descriptors.sum(1, keepdims=True), 1e-6))
        features[name] = (points, descriptors, scale)
    start = time.perf_counter()
    answers = [answer(pair, features[pair["a"]], features[pair["b"]]) for pair in pairs]
    pair_ms = (time.perf_counter() - start) / max(len(pairs), 1) * 1000
    return answers, spent / max(len(features), 1) * 1000, pair_ms


def answer(pair, a, b):
    nothing = ("undetermined", None, None)
    if a[1] is None or b[1] is None or min(len(a[0]), len(b[0])) < EVIDENCE:
        return nothing
    matcher = cv2.BFMatcher(cv2.NORM_L2)
    forth = {m.queryIdx: m.trainIdx for m, n in matcher.knnMatch(a[1], b[1], k=2) if m.distance < RATIO * n.distance}
    back = {m.trainIdx: m.queryIdx for m, n in matcher.knnMatch(b[1], a[1], k=2) if m.distance < RATIO * n.distance}
    both = [(i, j) for i, j in forth.items() if back.get(i) == j]
    if len(both) < EVIDENCE:
        return nothing
    known = pair.get("Ka", [998.461, 0, 640, 0, 998.461, 480, 0, 0, 1])
    x = normalised(a[0][[i for i, _ in both]] / a[2], known)
    y = normalised(b[0][[j for _, j in both]] / b[2], pair.get("Kb", known))
    cut = NOISE_PX / (WIDTH * known[0] / (2 * known[2]))
    essential, inside = cv2.findEssentialMat(x, y, np.eye(3), cv2.USAC_MAGSAC, 0.999, cut)
    if essential is None or essential.shape != (3, 3):
        return nothing
    inside = inside.ravel() > 0
    flat, in_plane = cv2.findHomography(x, y, cv2.USAC_MAGSAC, 2 * cut, confidence=0.999)
    planar = 0 if in_plane is None else int(in_plane.sum())
    if max(int(inside.sum()), planar) < EVIDENCE:
        return nothing
    _, rotation, step, _ = cv2.recoverPose(essential, x[inside], y[inside], np.eye(3))
    turned = angle(rotation)
    if planar > 0.9 * inside.sum():
        # As good without parallax: the rotation nearest to the homography.
        u, _, v = np.linalg.svd(flat / np.cbrt(np.linalg.det(flat)))
        pure = u @ np.diag([1, 1, np.linalg.det(u @ v)]) @ v
        if angle(pure) < turned:
            return judged(angle(pure), 1.0)
    points = cv2.triangulatePoints(np.eye(3, 4), np.hstack([rotation, step]), x[inside].T, y[inside].T)
    points = (points[:3] / points[3]).T
    front = points[:, 2] > 0
    if front.sum() < 5:
        return judged(turned, None)
    near = np.argsort(np.hypot(*x[inside][front].T))[:15]
    depth = float(np.median(points[front][near, 2]))
    return judged(turned, float(np.linalg.norm(rotation @ [0, 0, depth] + step.ravel()) / depth))


def normalised(points, k):
    return np.ascontiguousarray((points - [k[2], k[5]]) / [k[0], k[4]])


def angle(rotation):
    return float(np.degrees(np.arccos(np.clip((np.trace(rotation) - 1) / 2, -1, 1))))


def judged(turned, ratio):
    same = turned <= 10 and (ratio is None or 0.8 <= ratio <= 1.25)
    return ("same_view" if same else "shifted", turned, ratio)


def print_table(name, pairs, answers, picture_ms, pair_ms):
    print(f"\n{name}: {picture_ms:.0f} ms a picture, {pair_ms:.1f} ms a pair")
    print(f"{'kind':<14}{'pairs':>6}{'same %':>8}{'undet. %':>9}   rotation error, deg   ratio error, %  (median / 90th)")
    moved = [i for i, pair in enumerate(pairs) if pair["kind"] in KINDS[:4]]
    groups = [(kind, [i for i, pair in enumerate(pairs) if pair["kind"] == kind]) for kind in KINDS]
    for kind, chosen in groups + [("first four", moved)]:
        if not chosen:
            continue
        share = lambda word: 100 * np.mean([answers[i][0] == word for i in chosen])
        told = [i for i in chosen if answers[i][0] != "undetermined" and "rot_deg" in pairs[i]]
        turned = [abs(answers[i][1] - pairs[i]["rot_deg"]) for i in told if answers[i][1] is not None]
        ratio = [100 * abs(answers[i][2] / pairs[i]["ratio"] - 1) for i in told if answers[i][2]]
        print(f"{kind:<14}{len(chosen):>6}{share('same_view'):>8.1f}{share('undetermined'):>9.1f}"
              f"{quantiles(turned):>20}{quantiles(ratio):>20}")


def quantiles(values):
    return f"{np.quantile(values, 0.5):.2f} / {np.quantile(values, 0.9):.2f}" if values else "-"


if __name__ == "__main__":
    main()
