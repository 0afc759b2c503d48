"""Trains finder and reader on stamps drawn on the way. See README.md.

python train.py reader|finder --data FOLDER --out FOLDER --seconds N [--from WEIGHTS.pt]
FOLDER holds train/ and held/ (typefaces), photos_train/ and photos_held/.
"""

import argparse
import os
import random
import time

import numpy as np
import torch
from torch import nn

import draw
from nets import Finder, Reader, folded

WIDTH = 512
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
            x = np.zeros((self.batch, 3, draw.LINE_HEIGHT, WIDTH), np.float16)
            widths, targets, lengths, texts = [], [], [], []
            while len(widths) < self.batch:
                sample = next(samples, None)
                if sample is None:
                    samples = draw.line_samples(rng, fonts, grounds)
                    continue
                line, text = sample
                codes = [draw.SYMBOLS.index(c) + 1 for c in text]
                if line.shape[1] > WIDTH or not codes or len(codes) * 2 + 2 > line.shape[1] // 2:
                    continue
                line = line.astype(np.float32)
                line = (line - line.mean(axis=(0, 1))) / max(8.0, line.std())
                x[len(widths), :, :, :line.shape[1]] = line.transpose(2, 0, 1)
                widths.append(line.shape[1] // 2)
                targets += codes
                lengths.append(len(codes))
                texts.append(text)
            yield torch.from_numpy(x), torch.tensor(widths), torch.tensor(targets), torch.tensor(lengths), texts


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


def reader_loss(net, batch):
    x, widths, targets, lengths, _ = batch
    scores = net(x.cuda(non_blocking=True).float()).log_softmax(1)
    return nn.functional.ctc_loss(scores.permute(2, 0, 1), targets.cuda(), widths, lengths, zero_infinity=True), scores


def finder_loss(net, batch):
    x, maps, turns = (part.cuda(non_blocking=True) for part in batch)
    out = net(x.permute(0, 3, 1, 2).float() / 255 - 0.5)
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
            for i, text in enumerate(batch[4]):
                read = best_path(scores[i, :, :batch[1][i]])
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
    if args.start:
        net.load_state_dict(torch.load(args.start))
    loss_of, kind, batch, held_of = (reader_loss, Lines, 128, held_reader) if reader else (finder_loss, Places, 32, held_finder)
    batches = loader(kind, args, "train", batch, args.workers, args.seed)
    held = loader(kind, args, "held", batch, 1, 77)
    adam = torch.optim.AdamW(net.parameters(), lr=args.rate, weight_decay=1e-4)
    begin, said, step, mean = time.time(), time.time(), 0, 0.0
    while (passed := time.time() - begin) < args.seconds:
        share = passed / args.seconds
        for group in adam.param_groups:
            group["lr"] = args.rate * min(1, (step + 1) / 200) * (0.5 + 0.5 * np.cos(np.pi * share)) + 1e-6
        loss, _ = loss_of(net, next(batches))
        adam.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        adam.step()
        step += 1
        if step % 50 == 0:
            mean = loss.item() if not mean else 0.8 * mean + 0.2 * loss.item()
        if time.time() - said > 60:
            words, wrong = held_of(net, held, 4)
            print(f"{args.net} {passed:.0f} s step {step} loss {mean:.4f} {words}", flush=True)
            said = time.time()
    words, wrong = held_of(net, held, 40)
    print(f"{args.net} end step {step} {words}", *wrong, sep="\n", flush=True)
    torch.save(net.state_dict(), os.path.join(args.out, f"{args.net}.pt"))
    net.eval()
    np.savez(os.path.join(args.out, f"{args.net}.npz"), **folded(net))
    os._exit(0)


if __name__ == "__main__":
    main()
