"""Trains finder and reader on stamps drawn on the way. See README.md.

python train.py reader|finder --data FOLDER --out FOLDER --seconds N [--from WEIGHTS.pt|WEIGHTS.f16]
FOLDER holds train/ and held/ (typefaces), photos_train/ and photos_held/.
"""

import argparse
import os
import random
import time
from queue import Queue
from threading import Thread

import numpy as np
import torch
from torch import nn

import draw
from nets import Finder, Reader, folded, load_folded, measure_norms

WIDTH = 512
LONGEST = 64
SIZE = 256


class Lines(torch.utils.data.IterableDataset):
    def __init__(self, data, part, batch, seed):
        self.data, self.part, self.batch, self.seed = data, part, batch, seed

    def __iter__(self):
        worker = torch.utils.data.get_worker_info()
        rng = random.Random(self.seed * 1000 + (worker.id if worker else 0))
        fonts = draw.faces(os.path.join(self.data, self.part))
        grounds = draw.Grounds(os.path.join(self.data, "photos_" + self.part))
        samples = iter(())
        while True:
            x = np.zeros((self.batch, 3, draw.LINE_HEIGHT, WIDTH), np.uint8)
            widths, targets, lengths = [], [], []
            while len(widths) < self.batch:
                sample = next(samples, None)
                if sample is None:
                    samples = draw.line_samples(rng, fonts, grounds)
                    continue
                line, text = sample
                codes = [draw.SYMBOLS.index(c) + 1 for c in text]
                if line.shape[1] > WIDTH or not codes or len(codes) > LONGEST \
                        or len(codes) * 2 + 2 > line.shape[1] // 2:
                    continue
                x[len(widths), :, :, :line.shape[1]] = line.transpose(2, 0, 1)
                widths.append(line.shape[1])
                targets.append(codes + [0] * (LONGEST - len(codes)))
                lengths.append(len(codes))
            yield torch.from_numpy(x), torch.tensor(widths), torch.tensor(targets), torch.tensor(lengths)


def truth_maps(boxes, turn, size):
    """Maps at an eighth: wanted text (1, 0, or -1 = do not care), two distances, direction."""
    n = size // 8
    y, x = np.mgrid[0:n, 0:n].astype(np.float32) * 8 + 4
    # Undo the turn on coordinates: where in the drawing lies this cell?
    u, v = {0: (x, y), 1: (size - x, size - y), 2: (size - x, y), 3: (x, size - y),
            4: (size - y, x), 5: (y, size - x), 6: (y, x), 7: (size - y, size - x)}[turn]
    text = np.zeros((n, n), np.float32)
    near, far = np.zeros((n, n), np.float32), np.zeros((n, n), np.float32)
    for x0, y0, x1, y1 in boxes:
        tall = y1 - y0
        inside = (u >= x0 - 2) & (u <= x1 + 2) & (v >= y0 - 1) & (v <= y1 + 1)
        about = (u >= x0 - 8) & (u <= x1 + 8) & (v >= y0 - 0.3 * tall - 4) & (v <= y1 + 0.3 * tall + 4)
        text[about & (text == 0)] = -1
        text[inside] = 1
        up, down = v - y0, y1 - v
        # In the turned picture: distance to the edge at smaller coordinates first.
        swap = turn in (1, 3) or turn in (5, 7)
        first, second = (down, up) if swap else (up, down)
        near[inside], far[inside] = first[inside] / 16, second[inside] / 16
    return text, near, far


class Places(torch.utils.data.IterableDataset):
    def __init__(self, data, part, batch, seed):
        self.data, self.part, self.batch, self.seed = data, part, batch, seed

    def __iter__(self):
        worker = torch.utils.data.get_worker_info()
        rng = random.Random(self.seed * 1000 + 500 + (worker.id if worker else 0))
        fonts = draw.faces(os.path.join(self.data, self.part))
        grounds = draw.Grounds(os.path.join(self.data, "photos_" + self.part))
        while True:
            x = np.zeros((self.batch, SIZE, SIZE, 3), np.uint8)
            maps = np.zeros((self.batch, 3, SIZE // 8, SIZE // 8), np.float32)
            turns = np.zeros(self.batch, np.int64)
            for i in range(self.batch):
                x[i], boxes, turns[i] = draw.place_sample(rng, fonts, grounds, SIZE)
                maps[i] = np.stack(truth_maps(boxes, turns[i], SIZE))
            yield torch.from_numpy(x), torch.from_numpy(maps), torch.from_numpy(turns)


def loader(kind, args, part, batch, workers, seed):
    return iter(torch.utils.data.DataLoader(kind(args.data, part, batch, seed), batch_size=None,
                                            num_workers=workers, prefetch_factor=4))


def best_path(scores):
    """Greedy reading of one line and the product of its frames' probabilities."""
    out, last = [], 0
    for code in scores.argmax(0).tolist():
        if code != last and code:
            out.append(draw.SYMBOLS[code - 1])
        last = code
    return " ".join("".join(out).split())


class Pool:
    """Samples drawn so far, kept on the accelerator: drawing is slow, so each is shown several times."""

    def __init__(self, most):
        self.most, self.count, self.next, self.parts = most, 0, 0, None

    def add(self, batch):
        parts = [part.cuda(non_blocking=True) for part in batch]
        if self.parts is None:
            self.parts = [torch.zeros((self.most, *part.shape[1:]), dtype=part.dtype, device="cuda") for part in parts]
        at = (torch.arange(len(parts[0]), device="cuda") + self.next) % self.most
        for kept, part in zip(self.parts, parts):
            kept[at] = part
        self.next = (self.next + len(at)) % self.most
        self.count = min(self.most, self.count + len(at))

    def draw(self, count):
        at = torch.randint(self.count, (count,), device="cuda")
        return [part[at] for part in self.parts]


def uniform(count, low, high):
    return torch.empty(count, 1, 1, 1, device="cuda").uniform_(low, high)


def chance(count, share):
    return (torch.rand(count, 1, 1, 1, device="cuda") < share).float()


def recoloured(x):
    """Other gains, channels changed over, inverted, noisy: what a replay may change without drawing again."""
    n = len(x)
    x = x * (1 + chance(n, 0.5) * (torch.rand(n, 3, 1, 1, device="cuda") * 0.6 - 0.3))
    order = torch.rand(n, 3, device="cuda").argsort(1) if torch.rand(()) < 0.5 else torch.arange(3, device="cuda").expand(n, 3)
    x = x.gather(1, order[:, :, None, None].expand_as(x))
    turned = chance(n, 0.08)
    x = x * (1 - turned) + (255 - x) * turned
    return x + torch.randn_like(x) * chance(n, 0.3) * uniform(n, 0, 14)


def reshaped(x, widths):
    """Lines stretched, slanted, shifted, with thicker or thinner strokes, softened; and their widths."""
    n = len(x)
    stretch = torch.exp(uniform(n, -0.2, 0.2) * chance(n, 0.6))[:, 0, 0, 0]
    stretch = torch.minimum(stretch, WIDTH / widths)
    slant = (uniform(n, -0.2, 0.2) * chance(n, 0.3))[:, 0, 0, 0]
    zoom = torch.exp(uniform(n, -0.12, 0.12) * chance(n, 0.5))[:, 0, 0, 0]
    shift = (uniform(n, -0.1, 0.1) * chance(n, 0.5))[:, 0, 0, 0]
    rows = torch.linspace(-1 + 1 / 24, 1 - 1 / 24, draw.LINE_HEIGHT, device="cuda")
    columns = torch.arange(WIDTH, device="cuda") + 0.5
    v = rows[None, :, None] * zoom[:, None, None] + shift[:, None, None]
    u = columns[None, None, :] / stretch[:, None, None] + slant[:, None, None] * 12 * v
    # Beyond its own ends a line repeats its last column.
    u = torch.minimum(u.clamp(min=0.5), (widths - 0.5)[:, None, None])
    grid = torch.stack([u / WIDTH * 2 - 1, v.expand_as(u)], dim=3)
    x = nn.functional.grid_sample(x, grid, mode="bilinear", padding_mode="border", align_corners=False)
    thick = nn.functional.max_pool2d(x, 3, 1, 1)
    thin = -nn.functional.max_pool2d(-x, 3, 1, 1)
    mix = uniform(n, -0.5, 0.5) * chance(n, 0.35)
    x = x + (thick - x) * mix.clamp(min=0) + (thin - x) * (-mix).clamp(min=0)
    soft = nn.functional.avg_pool2d(nn.functional.pad(x, (1, 1, 1, 1), mode="replicate"), 3, 1)
    x = x + (soft - x) * uniform(n, -0.5, 1) * chance(n, 0.3)
    return x, (widths * stretch).floor()


def normalised(x, widths):
    """Mean of each channel to 0 and spread of all values to 1 within the width, 0 beyond it."""
    inside = (torch.arange(WIDTH, device="cuda")[None, :] < widths[:, None]).float()[:, None, None, :]
    count = widths[:, None, None, None] * draw.LINE_HEIGHT
    mean = (x * inside).sum((2, 3), keepdim=True) / count
    middle = mean.mean(1, keepdim=True)
    spread = ((((x - middle) ** 2) * inside).sum((1, 2, 3), keepdim=True) / (3 * count)).sqrt()
    return (x - mean) / spread.clamp(min=8.0) * inside


def reader_loss(net, batch, vary=False):
    x, widths, targets, lengths = (part.cuda(non_blocking=True) for part in batch)
    x, widths = x.float(), widths.float()
    if vary:
        x, widths = reshaped(recoloured(x), widths)
        x = x.clamp(0, 255)
    scores = net(normalised(x, widths)).float().log_softmax(1)
    frames = (widths / 2).floor().long()
    return nn.functional.ctc_loss(scores.permute(2, 0, 1), targets, frames, lengths, zero_infinity=True), scores


def finder_loss(net, batch, vary=False):
    x, maps, turns = (part.cuda(non_blocking=True) for part in batch)
    x = x.permute(0, 3, 1, 2).float()
    if vary:
        x = recoloured(x).clamp(0, 255)
    out = net(x / 255 - 0.5)
    text = maps[:, 0]
    care, yes = (text >= 0).float(), (text > 0).float()
    plain = nn.functional.binary_cross_entropy_with_logits(out[:, 0], yes, reduction="none")
    # Hard cells count more (focal loss, Lin et al. 2017, equation 4, gamma 2, without alpha).
    chance = torch.exp(-plain)
    loss = ((1 - chance) ** 2 * plain * care).sum() / (yes.sum() + 50)
    edges = ((out[:, 1:3] - maps[:, 1:3]).abs() / (maps[:, 1:2] + maps[:, 2:3] + 0.2)).sum(1) * yes
    way = nn.functional.cross_entropy(out[:, 3:], turns[:, None, None].expand_as(text).contiguous(), reduction="none") * yes
    total = loss + (edges.sum() + 0.3 * way.sum()) / (yes.sum() + 50)
    return total, (out, text, turns, maps)


def held_reader(net, held, count):
    net.eval()
    right = total = 0
    wrong = []
    with torch.no_grad():
        for _ in range(count):
            batch = next(held)
            _, scores = reader_loss(net, batch)
            for i in range(len(batch[0])):
                text = "".join(draw.SYMBOLS[code - 1] for code in batch[2][i, :batch[3][i]])
                read = best_path(scores[i, :, :batch[1][i] // 2])
                total += 1
                right += read == text
                if read != text and len(wrong) < 12:
                    wrong.append(f"{text!r} read {read!r}")
    net.train()
    return f"lines read exactly {right}/{total}", wrong


def held_finder(net, held, count):
    net.eval()
    hit = yes_all = false = no_all = way_right = 0
    edge = []
    with torch.no_grad():
        for _ in range(count):
            _, (out, text, turns, maps) = finder_loss(net, next(held))
            seen = out[:, 0] > 0
            yes, no = text > 0, text == 0
            hit += (seen & yes).sum().item()
            yes_all += yes.sum().item()
            false += (seen & no).sum().item()
            no_all += no.sum().item()
            way_right += ((out[:, 3:].argmax(1) == turns[:, None, None]) & yes).sum().item()
            edge.append(((out[:, 1:3] - maps[:, 1:3]).abs().mean(1)[yes] * 16).mean().item())
    net.train()
    return (f"cells found {hit / yes_all:.4f} false {false / no_all:.5f} direction {way_right / yes_all:.4f} "
            f"edge error {np.nanmean(edge):.2f} px"), []


def save(net, out, name):
    """Weights for training on, and folded ones for `export.py`."""
    state = os.path.join(out, f"{name}.pt")
    torch.save(net.state_dict(), state + ".new")
    os.replace(state + ".new", state)
    layers = os.path.join(out, f"{name}.npz")
    np.savez(layers + ".new.npz", **folded(net))
    os.replace(layers + ".new.npz", layers)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("net", choices=["reader", "finder"])
    parser.add_argument("--data", required=True)
    parser.add_argument("--out", required=True)
    parser.add_argument("--seconds", type=float, required=True)
    parser.add_argument("--workers", type=int, default=8)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--from", dest="start")
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    reader = args.net == "reader"
    net = (Reader() if reader else Finder()).cuda()
    folded_start = args.start and args.start.endswith(".f16")
    if folded_start:
        load_folded(net, args.start)
    elif args.start:
        missing = net.load_state_dict(torch.load(args.start), strict=False).missing_keys
        # Layers that the earlier net lacked change little at first.
        for name, value in net.named_parameters():
            if name in missing and name.endswith("1.weight"):
                nn.init.constant_(value, 0.1)
    loss_of, kind, batch, held_of = (reader_loss, Lines, 128, held_reader) if reader else (finder_loss, Places, 32, held_finder)
    pool, shown = (Pool(800_000), 512) if reader else (Pool(100_000), 96)
    batches = loader(kind, args, "train", batch, args.workers, args.seed)
    held = [next(fresh) for fresh in [loader(kind, args, "held", batch, 4, 77)] for _ in range(24)]
    if folded_start:
        words, _ = held_of(net.eval(), iter(held), 10)
        print(f"{args.net} start {words}", flush=True)
        measure_norms(net, lambda: loss_of(net, held[0]))
    # The mean of the weights over the last steps reads better than the weights themselves (Polyak and Juditsky, 1992).
    mean_net = torch.optim.swa_utils.AveragedModel(
        net, multi_avg_fn=torch.optim.swa_utils.get_ema_multi_avg_fn(0.999), use_buffers=True)
    adam = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=1e-3)
    ready = Queue(32)
    Thread(target=lambda: [ready.put(fresh) for fresh in batches], daemon=True).start()
    begin, said, step, mean, drawn = time.time(), time.time(), 0, 0.0, 0
    while (passed := time.time() - begin) < args.seconds:
        while pool.count < 20 * batch or not ready.empty():
            pool.add(ready.get())
            drawn += batch
        share = passed / args.seconds
        for group in adam.param_groups:
            group["lr"] = args.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-6
        loss, _ = loss_of(net, pool.draw(shown), vary=True)
        adam.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        adam.step()
        mean_net.update_parameters(net)
        step += 1
        if step % 50 == 0:
            mean = loss.item() if not mean else 0.8 * mean + 0.2 * loss.item()
        if time.time() - said > 90:
            words, _ = held_of(mean_net.module, iter(held), 10)
            print(f"{args.net} {passed:.0f} s step {step} drawn {drawn} loss {mean:.4f} {words}", flush=True)
            mean_net.module.eval()
            save(mean_net.module, args.out, args.net)
            said = time.time()
    words, wrong = held_of(mean_net.module, iter(held), 24)
    print(f"{args.net} end step {step} drawn {drawn} {words}", *wrong, sep="\n", flush=True)
    mean_net.module.eval()
    save(mean_net.module, args.out, args.net)
    os._exit(0)


if __name__ == "__main__":
    main()
