#!/usr/bin/env python3
"""The whole check of jobs of twelve-megapixel photos against plain decoding and a plain OpenCV pipeline, in one run.

    cargo build --release -p photoproof-cli
    python benches/job_speed.py SCENES... [--photos 100,300,1000,2000] [--compare 300] [--work FOLDER]
                                [--binary FILE] [--threads 2]

SCENES are folders of rendered or real room photos. A job of N photos is made of them once and kept in the
work folder: of each picture, another part every time it is used (so that no photo is a copy of another), moved
and turned a little as by hand, enlarged to 4032 x 3024, sensor noise added, saved as JPEG of quality 93 with Exif
times by its phase. Then, for each N,
`photoproof check` runs and its wall time, processor time and peak memory are printed; for the N given by
--compare the same run also times

  (a) decoding the same files at a quarter of their size with libjpeg-turbo (through OpenCV), and
  (b) a straightforward verification in Python and OpenCV with ORB and with SIFT: reduced decode, 2,000
      keypoints, perceptual hash, mutual ratio-tested matches with as many partners a photo as we compare,
      and a robust homography,

each with as many processes as we use threads. Needs numpy, opencv-python and Pillow: test-time tools,
nothing here is needed to run the program. Times are meaningful on an otherwise idle machine only.
"""

import argparse
import functools
import multiprocessing
import os
import pathlib
import subprocess
import tempfile
import time

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import cv2  # noqa: E402
import numpy as np  # noqa: E402
from PIL import Image  # noqa: E402

SIZE = (4032, 3024)
QUALITY = 93
PHASES = ["before", "during", "after"]
PARTNERS = 24
ROOMS = ["bedroom", "kitchen", "bathroom", "living room", "garage", "basement", "attic", "closet"]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="+", type=pathlib.Path)
    parser.add_argument("--photos", default="100,300,1000,2000")
    parser.add_argument("--compare", type=int, default=300)
    parser.add_argument("--work", type=pathlib.Path, default=pathlib.Path(tempfile.gettempdir()) / "job-speed")
    parser.add_argument("--binary", type=pathlib.Path, default=pathlib.Path("target/release/photoproof"))
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--skip-pipelines", action="store_true", help="leave (b) out")
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    sources = sorted(file for folder in arguments.scenes for file in folder.glob("*.jpg"))
    counts = [int(text) for text in arguments.photos.split(",")]
    files = make_photos(sources, max(counts), arguments.work / "photos", arguments.threads)
    print(f"{'photos':>7} {'MB':>7} {'wall s':>8} {'cpu s':>8} {'ms/photo':>9} {'peak MiB':>9}")
    walls = {}
    for count in counts:
        folder = job_folder(files[:count], arguments.work / f"job-{count}")
        walls[count] = check(arguments, folder, count)
    if arguments.compare in walls:
        compare(arguments, files[: arguments.compare], walls[arguments.compare])


def make_photos(sources, count, folder, workers):
    """Files of the job, each made once: area by area, in the order of the sources."""
    folder.mkdir(parents=True, exist_ok=True)
    tasks = []
    for index in range(count):
        source = sources[index % len(sources)]
        area = f"{ROOMS[index // 9 % len(ROOMS)]} {index // 9 // len(ROOMS) + 1}"
        phase = PHASES[(index // 3) % 3]
        target = folder / area / phase / f"{index:05}.jpg"
        tasks.append((str(source), str(target), index, index // len(sources)))
    with multiprocessing.Pool(workers) as pool:
        pool.map(make_photo, [task for task in tasks if not os.path.exists(task[1])], chunksize=4)
    return [pathlib.Path(task[1]) for task in tasks]


def make_photo(task):
    source, target, index, use = task
    random = np.random.default_rng(index)
    picture = cv2.imread(source)
    height, width = picture.shape[:2]
    left, top, share = part(use)
    corners = np.float32([[0, 0], [1, 0], [1, 1], [0, 1]])
    # By hand: a little turned and moved.
    inner = corners + random.uniform(0, 0.05, (4, 2)) * np.float32([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    inner = ([left, top] + share * inner) * [width, height]
    target_corners = np.float32([[0, 0], [SIZE[0], 0], [SIZE[0], SIZE[1]], [0, SIZE[1]]])
    matrix = cv2.getPerspectiveTransform(np.float32(inner), target_corners)
    large = cv2.warpPerspective(picture, matrix, SIZE, flags=cv2.INTER_CUBIC)
    large = cv2.convertScaleAbs(large, alpha=random.uniform(0.9, 1.1))
    noise = sum(np.roll(picture, random.integers(0, 1000, 2), (0, 1)) for picture in sensor_noise())
    rgb = cv2.cvtColor(cv2.add(large, noise, dtype=cv2.CV_8U), cv2.COLOR_BGR2RGB)
    exif = Image.Exif()
    minutes = {"before": 0, "during": 180, "after": 360}[pathlib.Path(target).parent.name] + index % 180
    moment = f"2026:03:02 {8 + minutes // 60:02}:{minutes % 60:02}:{index % 60:02}"
    exif.get_ifd(0x8769)[0x9003] = moment
    exif.get_ifd(0x8769)[0xA405] = 26
    os.makedirs(os.path.dirname(target), exist_ok=True)
    partial = target + ".part"
    Image.fromarray(rgb).save(partial, "JPEG", quality=QUALITY, subsampling=2, exif=exif)
    os.rename(partial, target)


def part(use):
    """Left, top and side, as shares of the picture, of the part shown at its use number so: 25 parts on a grid, of which
    none shows more than five sixths of another."""
    place = use * 7 % 25
    return place % 5 * 0.1, place // 5 * 0.1, 0.6


@functools.cache
def sensor_noise():
    """Read noise of a small sensor, correlated a little by demosaicing: two pictures, which are moved apart and added, so
    that no two photos share their noise."""
    random = np.random.default_rng(7)
    noise = random.standard_normal((2, SIZE[1], SIZE[0], 3), dtype=np.float32)
    return [np.rint(cv2.GaussianBlur(picture, (0, 0), 0.6) * 5.0).astype(np.int16) for picture in noise]


def job_folder(files, folder):
    """A job folder of hard links."""
    for file in files:
        link = folder / file.parent.parent.name / file.parent.name / file.name
        link.parent.mkdir(parents=True, exist_ok=True)
        if not link.exists():
            os.link(file, link)
    return folder


def check(arguments, folder, count):
    subprocess.run(["cat", *map(str, folder.rglob("*.jpg"))], stdout=subprocess.DEVNULL, check=True)
    with tempfile.TemporaryDirectory() as out:
        command = [arguments.binary, "check", folder, "--out", out, "--threads", str(arguments.threads)]
        environment = {**os.environ, "XDG_CACHE_HOME": out + "/cache"}
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment)
        _, status, usage = os.wait4(process.pid, 0)
        wall = time.perf_counter() - start
        if os.waitstatus_to_exitcode(status) not in (0, 1):
            raise SystemExit(f"check of {folder} failed")
    size = sum(file.stat().st_size for file in folder.rglob("*.jpg")) / 1e6
    cpu = usage.ru_utime + usage.ru_stime
    print(f"{count:7} {size:7.0f} {wall:8.1f} {cpu:8.1f} {wall / count * 1e3:9.1f} {usage.ru_maxrss / 1024:9.0f}", flush=True)
    return wall


def compare(arguments, files, ours):
    def timed(work):
        start = time.perf_counter()
        with multiprocessing.Pool(arguments.threads, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
            work(pool)
        return time.perf_counter() - start

    names = [str(file) for file in files]
    decoding = timed(lambda pool: pool.map(decode, names, chunksize=4))
    print(f"\n(a) decoding at a quarter: {decoding:.1f} s; check takes {ours / decoding:.2f} times that")
    if arguments.skip_pipelines:
        return
    for kind in ["ORB", "SIFT"]:
        taken = timed(lambda pool: pipeline(pool, kind, names))
        print(f"(b) Python and OpenCV with {kind}: {taken:.1f} s, {taken / ours:.1f} times check", flush=True)


def decode(name):
    return cv2.imread(name, cv2.IMREAD_REDUCED_COLOR_4).shape


def pipeline(pool, kind, names):
    """Every photo measured, then each with its likeliest partners of the same area and another phase."""
    measured = pool.starmap(measure, [(kind, name) for name in names], chunksize=4)
    hashes = np.array([hash_ for hash_, _, _ in measured])
    pairs = set()
    for index, name in enumerate(names):
        area, phase = name.split("/")[-3:-1]
        partners = [
            other
            for other, second in enumerate(names)
            if second.split("/")[-3] == area and second.split("/")[-2] != phase
        ]
        distances = (hashes[partners] != hashes[index]).sum(axis=1) if partners else []
        nearest = np.argsort(distances, kind="stable")[:PARTNERS]
        pairs.update((min(index, partners[n]), max(index, partners[n])) for n in nearest)
    tasks = [(kind, measured[a][1:], measured[b][1:]) for a, b in sorted(pairs)]
    pool.starmap(relate, tasks, chunksize=8)


def measure(kind, name):
    gray = cv2.imread(name, cv2.IMREAD_REDUCED_GRAYSCALE_4)
    detector = cv2.ORB_create(2000) if kind == "ORB" else cv2.SIFT_create(2000)
    keypoints, descriptors = detector.detectAndCompute(gray, None)
    points = np.float32([keypoint.pt for keypoint in keypoints])
    small = cv2.resize(gray, (32, 32), interpolation=cv2.INTER_AREA).astype(np.float32)
    low = cv2.dct(small)[:8, :8].ravel()
    return low > np.median(low[1:]), points, descriptors


def relate(kind, first, second):
    (points_a, a), (points_b, b) = first, second
    if a is None or b is None or len(a) < 2 or len(b) < 2:
        return 0
    matcher = cv2.BFMatcher(cv2.NORM_HAMMING if kind == "ORB" else cv2.NORM_L2)
    forth = {m.queryIdx: m.trainIdx for m, n in matcher.knnMatch(a, b, 2) if m.distance < 0.8 * n.distance}
    back = {m.queryIdx: m.trainIdx for m, n in matcher.knnMatch(b, a, 2) if m.distance < 0.8 * n.distance}
    mutual = [(i, j) for i, j in forth.items() if back.get(j) == i]
    if len(mutual) < 8:
        return 0
    left, right = zip(*mutual)
    _, inliers = cv2.findHomography(points_a[list(left)], points_b[list(right)], cv2.USAC_MAGSAC, 3.0)
    return 0 if inliers is None else int(inliers.sum())


if __name__ == "__main__":
    main()
